// The large picture without a graphics card: the same sums and codes, more slowly.

const HALF = new Float32Array(65536).map((_, bits) => {
  const sign = bits & 0x8000 ? -1 : 1, exponent = (bits >> 10) & 31, rest = bits & 1023;
  return sign * (exponent ? 2 ** (exponent - 15) * (1 + rest / 1024) : 2 ** -14 * (rest / 1024));
});
// Codes by the square root of light, finely enough to be a hundredth of a code off at most.
const STEPS = 1 << 15;
const CODES = new Float32Array(STEPS + 1).map((_, k) => {
  const y = (k / STEPS) ** 2;
  return (y > 0.0031308 ? 1.055 * y ** (1 / 2.4) - 0.055 : 12.92 * y) * 255 + 0.5;
});
/** Code of light, not rounded yet. */
const shownAt = (light) => CODES[Math.round(Math.sqrt(Math.min(Math.max(light, 0), 1)) * STEPS)];
const CONES = [
  [0.4122214708, 0.5363325363, 0.0514459929],
  [0.2119034982, 0.6806995451, 0.1073969566],
  [0.0883024619, 0.2817188376, 0.6299787005],
];
const BACK = inverse(CONES);

function inverse(m) {
  const c = (i, j) => {
    const [a, b] = [0, 1, 2].filter((k) => k !== i), [d, e] = [0, 1, 2].filter((k) => k !== j);
    return ((i + j) % 2 ? -1 : 1) * (m[a][d] * m[b][e] - m[a][e] * m[b][d]);
  };
  const det = m[0][0] * c(0, 0) + m[0][1] * c(0, 1) + m[0][2] * c(0, 2);
  return [0, 1, 2].map((i) => [0, 1, 2].map((j) => c(j, i) / det));
}

/** Less light than any picture has, in half floats. */
export const LEAST_HALF = 0xfbff;

/** Half floats of some pixels, from a place in their rows on, in a picture of others that are all alike. */
export function spread(lost, pixels, from, rest) {
  const rows = new Uint16Array(lost.data), all = new Uint16Array(3 * pixels).fill(rest);
  for (let k = 0; k < rows.length; k += 8) all.set(rows.subarray(k + from, k + from + 3), 3 * (rows[k] + 65536 * rows[k + 1]));
  return all;
}

const times = (m, v) => m.map((row) => row[0] * v[0] + row[1] * v[1] + row[2] * v[2]);
const luminance = (v) => 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];

function nearer(roots, left) {
  const rgb = times(BACK, roots.map((root) => (1 - (1 - root) * left) ** 3));
  const most = Math.max(...rgb);
  return rgb.map((one) => one / most);
}

function towardsWhite(light) {
  const m = Math.max(...light);
  const hue = light.map((one) => Math.max(one / m, 0));
  const roots = times(CONES, hue).map(Math.cbrt);
  const y = luminance(hue);
  const rising = (luminance(nearer(roots, 0.99)) - y) / 0.01;
  const least = Math.min(...hue, 1 - 1e-9);
  const slope = Math.min(3, Math.max(0.25, y / Math.max(rising, 1e-9) - least / (1 - least)));
  const left = m ** -slope * Math.max(1 - least * m, 0) / (1 - least);
  return nearer(roots, left).map((one) => Math.max(one, 0));
}

export class PlainScreen {
  constructor(canvas) {
    Object.assign(this, { canvas, kind: "plain", context: canvas.getContext("2d", { alpha: false }) });
  }

  noise(rank) {
    this.rank = rank;
    this.triangular = rank.map((r) => (r < 0.5 ? Math.sqrt(2 * r) - 1 : 1 - Math.sqrt(2 * (1 - r))));
  }

  view(found) {
    this.cube = found ? { side: found.width, codes: new Uint16Array(found.data) } : null;
  }

  /** Codes of light through the view, from 0 to 1: straight lines between its places. */
  throughView(light) {
    const { side, codes } = this.cube;
    const at = light.map((one) => Math.min(Math.log2(Math.max(one, 0) * 256 + 1) / Math.log2(1024 * 256 + 1), 1) * (side - 1));
    const low = at.map((one) => Math.min(Math.floor(one), side - 2));
    const seen = [0, 0, 0];
    for (let corner = 0; corner < 8; corner += 1) {
      let weight = 1, place = 0, step = 1;
      for (let c = 0; c < 3; c += 1, step *= side) {
        const up = (corner >> c) & 1, part = at[c] - low[c];
        weight *= up ? part : 1 - part;
        place += step * (low[c] + up);
      }
      for (let c = 0; c < 3; c += 1) seen[c] += weight * HALF[codes[3 * place + c]];
    }
    return seen;
  }

  size(width, height) {
    Object.assign(this.canvas, { width, height });
    this.image = new ImageData(width, height);
  }

  draw(sources, line) {
    const edge = Math.min(Math.max(0, Math.ceil(line - 0.5)), this.canvas.width);
    this.paint(sources[0], 0, edge);
    if (sources[1]) this.paint(sources[1], edge, this.canvas.width);
    this.context.putImageData(this.image, 0, 0);
  }

  paint(source, left, right) {
    const { width, height } = this.canvas;
    const out = this.image.data;
    if (source.codes) {
      for (let y = 0; y < height; y += 1) {
        const row = y * width * 4;
        out.set(source.codes.subarray(row + left * 4, row + right * 4), row + left * 4);
      }
      return;
    }
    const grain = source.grain && new Uint16Array(source.grain.data), m = source.toScreen;
    const light = [0, 0, 0], seen = [0, 0, 0], isBare = [false, false, false], { direct } = source;
    if (direct && this.lost !== source.lost) {
      const [more, least] = [[2, 0], [5, LEAST_HALF]].map(([from, rest]) => spread(source.lost, width * height, from, rest));
      Object.assign(this, { lost: source.lost, more, least });
    }
    for (let y = 0; y < height; y += 1) {
      for (let x = left; x < right; x += 1) {
        const at = (y * width + x) * 3;
        light[0] = light[1] = light[2] = 0;
        for (const { data, weight } of source.planes) {
          light[0] += weight * HALF[data[at]];
          light[1] += weight * HALF[data[at + 1]];
          light[2] += weight * HALF[data[at + 2]];
        }
        // As glsl.js has lamps, and lays grain.
        for (let c = 0; direct && c < 3; c += 1) {
          const least = HALF[this.least[at + c]];
          light[c] = Math.min(light[c] + HALF[this.more[at + c]] * direct[c], Math.max(light[c], least));
          isBare[c] = light[c] === least && source.keepsCodes && !this.cube;
        }
        for (let c = 0; grain && c < 3; c += 1) light[c] += HALF[grain[at + c]] * Math.sqrt(Math.max(light[c], 0) + 0.003);
        for (let c = 0; c < 3; c += 1) seen[c] = m[c] * light[0] + m[c + 3] * light[1] + m[c + 6] * light[2];
        const to = (y * width + x) * 4;
        this.code(out, to, seen, x, y);
        for (let c = 0; direct && c < 3; c += 1) if (isBare[c]) out[to + c] = Math.floor(shownAt(light[c]));
      }
    }
  }

  code(out, to, light, x, y) {
    const isOver = light[0] > 1 || light[1] > 1 || light[2] > 1;
    const shown = this.cube ? this.throughView(light) : isOver ? towardsWhite(light) : light;
    for (let c = 0; c < 3; c += 1) {
      const value = this.cube ? shown[c] * 255 + 0.5 : shownAt(shown[c]);
      const noise = ((y - 43 * c) & 127) * 128 + ((x - 71 * c) & 127);
      out[to + c] = Math.floor(value + (value < 1 || value > 255 ? this.rank[noise] - 0.5 : this.triangular[noise]));
    }
    out[to + 3] = 255;
  }
}
