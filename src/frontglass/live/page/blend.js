// Between renders: which of them count, and how much.

export const LARGEST = 4;

/** Strength of a place on the slider, from 0 to 1, and back: small ones have room. */
export const strengthAt = (place) => rounded(LARGEST * place * place);
export const placeOf = (strength) => Math.sqrt(Math.min(strength, LARGEST) / LARGEST);
export const rounded = (s) => (s < 0.1 ? Math.round(s * 200) / 200 : Math.round(s * 100) / 100);

/** Where between the ends a strength may take a node's place: nearer to one, a blend amplifies rounding. */
const CLEAR_OF_ENDS = { 3: [1 / 4, 3 / 4] }, OF_MORE = [1 / 32, 3 / 4];

/**
 * The same nodes with a strength that is there already in place of the inner one next to it; those
 * of straight lines stay.
 */
export function anchored(nodes, anchor) {
  const { strengths, places, power, window } = nodes, last = strengths.length - 1;
  if (anchor === undefined || window < strengths.length) return nodes;
  const at = anchor ** power, inner = [...places.keys()].slice(1, last);
  const [least, most] = CLEAR_OF_ENDS[strengths.length] || OF_MORE;
  if (!(at >= least * places[last] && at <= most * places[last])) return nodes;
  const nearest = inner.reduce((one, other) => (Math.abs(places[other] - at) < Math.abs(places[one] - at) ? other : one));
  return { strengths: strengths.with(nearest, anchor), places: places.with(nearest, at), power, window, anchor };
}

/**
 * Weights of renders at a strength.
 *
 * nodes: { strengths, places, power, window }: at `places`, which are strengths to that power, the
 * light is nearly a polynomial through `window` neighbours. has(index): whether that render is
 * there. Where neighbours are missing, a straight line between the nearest two serves. Returns
 * [[index, weight], ...], or null.
 */
export function weights(nodes, has, strength) {
  const { strengths, places, power, window } = nodes;
  const exact = strengths.indexOf(strength);
  if (exact >= 0 && has(exact)) return [[exact, 1]];
  if (strength > strengths[strengths.length - 1]) return null;
  const at = strength ** power;
  const above = strengths.findIndex((one) => one > strength);
  const first = Math.max(0, Math.min(above - Math.floor(window / 2), strengths.length - window));
  const near = Array.from({ length: window }, (_, k) => first + k);
  if (near.every(has)) {
    return near.map((i) => [i, near.reduce(
      (product, j) => (j === i ? product : product * (at - places[j]) / (places[i] - places[j])), 1)]);
  }
  let low = above - 1;
  while (low >= 0 && !has(low)) low -= 1;
  let high = above;
  while (high < strengths.length && !has(high)) high += 1;
  if (low < 0 || high >= strengths.length) return null;
  const share = (at - places[low]) / (places[high] - places[low]);
  return [[low, 1 - share], [high, share]];
}
