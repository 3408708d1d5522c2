// Between renders: which of them count, and how much.

export const LARGEST = 4;

/** Strength of a place on the slider, from 0 to 1, and back: small ones have room. */
export const strengthAt = (place) => rounded(LARGEST * place * place);
export const placeOf = (strength) => Math.sqrt(Math.min(strength, LARGEST) / LARGEST);
export const rounded = (s) => (s < 0.1 ? Math.round(s * 200) / 200 : Math.round(s * 100) / 100);

/** Of so many nodes one keeps its place, and there is one more, where it lies farther below or above, over nodes' distance. */
const MANY = 5, NEAR = [0.4, 0.3];

/** Where between the ends a strength may take a node's place: else a blend amplifies errors. */
const CLEAR_OF_ENDS = [1 / 16, 5 / 8];

/**
 * Nodes with strengths among them at which a hand has rested, so that they are there already.
 *
 * Of a polynomial the first of them takes the place of the inner node next to it, or stands among many. Of straight lines
 * all stand between the nodes: where the hand goes to and fro they lie close.
 */
export function anchored(nodes, anchors) {
  const { strengths, window } = nodes, last = strengths.length - 1;
  if (!anchors) return nodes;
  if (window < strengths.length) {
    const all = [...new Set([...strengths, ...anchors])].sort((a, b) => a - b);
    return { ...nodes, strengths: all, anchors };
  }
  const at = anchors[0], [least, most] = CLEAR_OF_ENDS;
  if (!(at >= least * strengths[last] && at <= most * strengths[last])) return nodes;
  const [start, here, end] = [strengths[0], at, strengths[last]].map((one) => standing(nodes, one));
  const place = last * Math.acos(1 - 2 * (here - start) / (end - start)) / Math.PI; // nodes stand at whole numbers
  const nearest = Math.min(Math.max(Math.round(place), 1), last - 1), off = place - nearest;
  if (window < MANY || (off >= -NEAR[0] && off <= NEAR[1])) return { ...nodes, strengths: strengths.with(nearest, at), anchors };
  return { ...nodes, strengths: [...strengths, at].sort((a, b) => a - b), window: window + 1, anchors };
}

/** Where a strength stands among others: behind glass light is nearly a polynomial of that. */
const standing = ({ rate }, strength) => (rate ? -Math.expm1(-rate * strength) : strength);

/**
 * Weights of renders at a strength.
 *
 * nodes: { strengths, window, rate }: light is nearly a polynomial through `window` neighbours.
 * has(index): whether that render is there. Where neighbours are missing, a straight line between
 * the nearest two serves. Returns [[index, weight], ...], or null.
 */
export function weights(nodes, has, strength) {
  const { strengths, window } = nodes;
  const exact = strengths.indexOf(strength);
  if (exact >= 0 && has(exact)) return [[exact, 1]];
  if (strength > strengths[strengths.length - 1]) return null;
  const above = strengths.findIndex((one) => one > strength);
  const first = Math.max(0, Math.min(above - Math.floor(window / 2), strengths.length - window));
  const near = Array.from({ length: window }, (_, k) => first + k);
  if (near.every(has)) {
    const at = strengths.map((one) => standing(nodes, one)), here = standing(nodes, strength);
    return near.map((i) => [i, near.reduce(
      (product, j) => (j === i ? product : product * (here - at[j]) / (at[i] - at[j])), 1)]);
  }
  let low = above - 1;
  while (low >= 0 && !has(low)) low -= 1;
  let high = above;
  while (high < strengths.length && !has(high)) high += 1;
  if (low < 0 || high >= strengths.length) return null;
  const share = (strength - strengths[low]) / (strengths[high] - strengths[low]);
  return [[low, 1 - share], [high, share]];
}
