// The large picture: renders blended on the graphics card, or without one.

import { COPY, VERTEX, blendWith } from "./glsl.js";
import { LEAST_HALF, PlainScreen, spread } from "./plain.js";

const LAYERS = 8;
/** What each texture unit holds; light and codes are of one side or the other. */
const UNITS = ["", "", "", "", "rank", "triangular", "view", "grain", "lost", "least"];

/** A screen on a canvas; "plain" in the address does without the graphics card. */
export function screenOn(canvas) {
  const isPlain = new URLSearchParams(location.search).has("plain");
  const options = { alpha: false, antialias: false, depth: false, preserveDrawingBuffer: true };
  const gl = isPlain ? null : canvas.getContext("webgl2", options);
  return gl ? new CardScreen(canvas, gl) : new PlainScreen(canvas);
}

class CardScreen {
  constructor(canvas, gl) {
    Object.assign(this, { canvas, gl, kind: "webgl2", sides: [], rank: null, seenThrough: null });
    this.begin();
    canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    canvas.addEventListener("webglcontextrestored", () => {
      this.begin();
      if (this.rank) this.noise(this.rank);
      this.view(this.seenThrough);
      this.size(canvas.width, canvas.height);
      canvas.dispatchEvent(new Event("redraw"));
    });
  }

  begin() {
    const { gl } = this;
    this.programs = new Map();
    this.used = null;
    this.copies = this.program("copy", COPY);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.enable(gl.SCISSOR_TEST);
    this.held = {};
  }

  /** A program and its uniforms, made when it is first used. */
  program(name, fragment) {
    const { gl, programs } = this;
    if (programs.has(name)) return programs.get(name);
    const program = gl.createProgram();
    for (const [type, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(type);
      gl.shaderSource(shader, text.replaceAll("LAYERS", String(LAYERS)));
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
    const places = new Map();
    const place = (one) => {
      if (!places.has(one)) places.set(one, gl.getUniformLocation(program, one));
      return places.get(one);
    };
    programs.set(name, { program, place });
    this.use(programs.get(name));
    for (const [unit, one] of UNITS.entries()) if (one) gl.uniform1i(place(one), unit);
    return programs.get(name);
  }

  use(one) {
    if (this.used !== one) this.gl.useProgram(one.program);
    this.used = one;
    return one.place;
  }

  texture(unit, target) {
    const { gl } = this;
    const texture = gl.createTexture();
    gl.activeTexture(gl.TEXTURE0 + unit);
    gl.bindTexture(target, texture);
    for (const [name, value] of [
      [gl.TEXTURE_MIN_FILTER, gl.NEAREST], [gl.TEXTURE_MAG_FILTER, gl.NEAREST],
      [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE],
    ]) gl.texParameteri(target, name, value);
    return texture;
  }

  /** Noise of a tile, as it lies at each channel: even at the ends of the codes, else triangular. */
  noise(rank) {
    const { gl } = this;
    this.rank = rank;
    const even = new Float32Array(4 * rank.length), triangular = new Float32Array(4 * rank.length);
    for (let y = 0; y < 128; y += 1) {
      for (let x = 0; x < 128; x += 1) {
        for (let c = 0; c < 3; c += 1) {
          const r = rank[((y - 43 * c) & 127) * 128 + ((x - 71 * c) & 127)], to = 4 * (128 * y + x) + c;
          even[to] = r;
          triangular[to] = r < 0.5 ? Math.sqrt(2 * r) - 1 : 1 - Math.sqrt(2 * (1 - r));
        }
      }
    }
    for (const [name, own] of [["rank", even], ["triangular", triangular]]) {
      this.texture(UNITS.indexOf(name), gl.TEXTURE_2D);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA32F, 128, 128, 0, gl.RGBA, gl.FLOAT, own);
    }
  }

  /** What light is looked at through, a cube of codes; null is the plain display. */
  view(found) {
    const { gl } = this;
    this.seenThrough = found;
    if (!found) return;
    this.texture(UNITS.indexOf("view"), gl.TEXTURE_3D);
    for (const name of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_3D, name, gl.LINEAR);
    gl.texParameteri(gl.TEXTURE_3D, gl.TEXTURE_WRAP_R, gl.CLAMP_TO_EDGE);
    const side = found.width, codes = new Uint16Array(found.data);
    gl.texImage3D(gl.TEXTURE_3D, 0, gl.RGB16F, side, side, side, 0, gl.RGB, gl.HALF_FLOAT, codes);
  }

  size(width, height) {
    const { gl, canvas } = this;
    Object.assign(canvas, { width, height });
    gl.viewport(0, 0, width, height);
    for (const side of this.sides) { gl.deleteTexture(side.light); gl.deleteTexture(side.codes); }
    this.sides = [0, 1].map(() => ({
      light: null, codes: null, held: null, layers: Array(LAYERS).fill(null), used: Array(LAYERS).fill(0),
    }));
  }

  /** See that a side has room for light, or codes: room for many pictures is cleared when it is made, so that is when it is needed. */
  provide(side, number, kind) {
    if (side[kind]) return;
    const { gl } = this, { width, height } = this.canvas;
    if (kind === "light") {
      side.light = this.texture(number, gl.TEXTURE_2D_ARRAY);
      gl.texStorage3D(gl.TEXTURE_2D_ARRAY, 1, gl.RGB16F, width, height, LAYERS);
    } else {
      side.codes = this.texture(2 + number, gl.TEXTURE_2D);
      gl.texStorage2D(gl.TEXTURE_2D, 1, gl.RGBA8, width, height);
    }
  }

  /** The layer that holds a plane; uploaded into the one used at least lately if need be. */
  layer(side, number, plane, turn) {
    const { gl, canvas } = this;
    let layer = side.layers.indexOf(plane.key);
    if (layer < 0) {
      layer = side.used.indexOf(Math.min(...side.used));
      side.layers[layer] = plane.key;
      gl.activeTexture(gl.TEXTURE0 + number);
      gl.texSubImage3D(gl.TEXTURE_2D_ARRAY, 0, 0, 0, layer, canvas.width, canvas.height, 1,
        gl.RGB, gl.HALF_FLOAT, plane.data);
    }
    side.used[layer] = turn;
    return layer;
  }

  /** Half floats of a still, of the picture's size; they stay until there are others. */
  hold(name, own, halves) {
    const { gl, canvas } = this;
    if (this.held[name]?.own === own) return;
    gl.deleteTexture(this.held[name]?.texture ?? null);
    this.held[name] = { own, texture: this.texture(UNITS.indexOf(name), gl.TEXTURE_2D) };
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB16F, canvas.width, canvas.height, 0, gl.RGB, gl.HALF_FLOAT, halves());
  }

  /** Make ready to paint codes of a render. */
  copied(source, side, number) {
    const { gl, canvas } = this;
    this.provide(side, number, "codes");
    if (side.held !== source.key) {
      side.held = source.key;
      gl.activeTexture(gl.TEXTURE0 + 2 + number);
      gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, canvas.width, canvas.height, gl.RGBA,
        gl.UNSIGNED_BYTE, source.codes);
    }
    const place = this.use(this.copies);
    gl.uniform1i(place("codes"), 2 + number);
    return place;
  }

  /** Make ready to paint a blend, with the still's grain, and light that its lamps had lost. */
  blended({ planes, grain, lost, direct, toScreen, keepsCodes }, side, number) {
    const { gl, canvas } = this;
    const names = Object.entries({ VIEW: this.seenThrough, GRAIN: grain, LOST: direct, KEEPS: direct && keepsCodes && !this.seenThrough })
      .filter(([, is]) => is).map(([name]) => name);
    this.provide(side, number, "light");
    const layers = new Int32Array(LAYERS), weights = new Float32Array(LAYERS);
    planes.forEach((plane, k) => { layers[k] = this.layer(side, number, plane, this.turn); weights[k] = plane.weight; });
    const pixels = canvas.width * canvas.height;
    if (grain) this.hold("grain", grain, () => new Uint16Array(grain.data));
    if (direct) {
      this.hold("lost", lost, () => spread(lost, pixels, 2, 0));
      this.hold("least", lost, () => spread(lost, pixels, 5, LEAST_HALF));
    }
    const place = this.use(this.program(names.join(), blendWith(names)));
    gl.uniform1i(place("light"), number);
    gl.uniformMatrix3fv(place("toScreen"), false, toScreen);
    if (direct) gl.uniform3fv(place("direct"), direct);
    gl.uniform1i(place("planes"), planes.length);
    gl.uniform1iv(place("layers"), layers);
    gl.uniform1fv(place("weights"), weights);
    return place;
  }

  /** Paint one or two sources, parted at `line` pixels from the left. */
  draw(sources, line) {
    const { gl, canvas } = this;
    this.turn = (this.turn || 0) + 1;
    const edge = Math.min(Math.max(0, Math.ceil(line - 0.5)), canvas.width);
    sources.forEach((source, number) => {
      const [left, right] = number ? [edge, canvas.width] : [0, edge];
      if (left === right) return;
      const place = source.codes ? this.copied(source, this.sides[number], number) : this.blended(source, this.sides[number], number);
      gl.uniform1i(place("height"), canvas.height);
      gl.scissor(left, 0, right - left, canvas.height);
      gl.drawArrays(gl.TRIANGLES, 0, 3);
    });
  }
}
