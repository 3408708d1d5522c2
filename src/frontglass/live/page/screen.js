// The large picture: renders blended on the graphics card, or without one.

import { FRAGMENT, VERTEX } from "./glsl.js";
import { LEAST_HALF, PlainScreen, spread } from "./plain.js";

const LAYERS = 8;

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
    const program = gl.createProgram();
    for (const [type, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(type);
      gl.shaderSource(shader, text.replaceAll("LAYERS", String(LAYERS)));
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
    gl.useProgram(program);
    this.place = (name) => gl.getUniformLocation(program, name);
    ["light0", "light1", "codes0", "codes1", "noise", "view", "grain", "lost", "least"].forEach((name, unit) => {
      gl.uniform1i(this.place(name), unit);
    });
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    this.held = [];
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

  noise(rank) {
    const { gl } = this;
    this.rank = rank;
    this.texture(4, gl.TEXTURE_2D);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.R32F, 128, 128, 0, gl.RED, gl.FLOAT, rank);
  }

  /** What light is looked at through, a cube of codes; null is the plain display. */
  view(found) {
    const { gl } = this;
    this.seenThrough = found;
    gl.uniform1i(this.place("hasView"), found ? 1 : 0);
    this.texture(5, gl.TEXTURE_3D);
    for (const name of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_3D, name, gl.LINEAR);
    gl.texParameteri(gl.TEXTURE_3D, gl.TEXTURE_WRAP_R, gl.CLAMP_TO_EDGE);
    const side = found ? found.width : 1, codes = found ? new Uint16Array(found.data) : null;
    gl.texImage3D(gl.TEXTURE_3D, 0, gl.RGB16F, side, side, side, 0, gl.RGB, gl.HALF_FLOAT, codes);
  }

  size(width, height) {
    const { gl, canvas } = this;
    Object.assign(canvas, { width, height });
    gl.viewport(0, 0, width, height);
    for (const side of this.sides) { gl.deleteTexture(side.light); gl.deleteTexture(side.codes); }
    this.sides = [0, 1].map((number) => ({
      light: this.room(number, "light", 1, 1), codes: this.room(number, "codes", 1, 1),
      hasLight: false, hasCodes: false, held: null, layers: Array(LAYERS).fill(null), used: Array(LAYERS).fill(0),
    }));
  }

  /** Textures of a side. Room for many pictures is cleared when it is made: it is made when it is needed. */
  room(number, kind, width, height) {
    const { gl } = this;
    const isLight = kind === "light";
    const texture = this.texture(isLight ? number : 2 + number, isLight ? gl.TEXTURE_2D_ARRAY : gl.TEXTURE_2D);
    if (isLight) gl.texStorage3D(gl.TEXTURE_2D_ARRAY, 1, gl.RGB16F, width, height, width > 1 ? LAYERS : 1);
    else gl.texStorage2D(gl.TEXTURE_2D, 1, gl.RGBA8, width, height);
    return texture;
  }

  /** See that a side has room for light, or codes, of the picture's size. */
  provide(side, number, kind) {
    const has = kind === "light" ? "hasLight" : "hasCodes";
    if (side[has]) return;
    side[has] = true;
    this.gl.deleteTexture(side[kind]);
    side[kind] = this.room(number, kind, this.canvas.width, this.canvas.height);
  }

  /** The layer that holds a plane; uploaded into the one used at least lately if need be. */
  layer(side, number, plane, turn) {
    const { gl, canvas } = this;
    this.provide(side, number, "light");
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
  hold(unit, own, halves) {
    const { gl, canvas } = this;
    if (this.held[unit]?.own === own) return;
    gl.deleteTexture(this.held[unit]?.texture ?? null);
    this.held[unit] = { own, texture: this.texture(unit, gl.TEXTURE_2D) };
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB16F, canvas.width, canvas.height, 0, gl.RGB, gl.HALF_FLOAT, halves());
  }

  /** What makes light of a blend: the still's grain, and light that its lamps had lost. */
  make({ grain, lost, direct, toScreen, keepsCodes }, number) {
    const { gl, canvas } = this;
    gl.uniform1i(this.place("hasGrain"), grain ? 1 : 0);
    gl.uniform1i(this.place(`hasLost${number}`), direct ? 1 : 0);
    gl.uniformMatrix3fv(this.place("toScreen"), false, toScreen);
    gl.uniform1i(this.place("keepsCodes"), keepsCodes ? 1 : 0);
    if (grain) this.hold(6, grain, () => new Uint16Array(grain.data));
    if (!direct) return;
    gl.uniform3fv(this.place(`direct${number}`), direct);
    const pixels = canvas.width * canvas.height;
    this.hold(7, lost, () => spread(lost, pixels, 2, 0));
    this.hold(8, lost, () => spread(lost, pixels, 5, LEAST_HALF));
  }

  /** Paint one or two sources, parted at `line` pixels from the left. */
  draw(sources, line) {
    const { gl, canvas } = this;
    this.turn = (this.turn || 0) + 1;
    sources.forEach((source, number) => {
      const side = this.sides[number];
      gl.uniform1i(this.place(`isExact${number}`), source.codes ? 1 : 0);
      if (source.codes) {
        if (side.held !== source.key) {
          this.provide(side, number, "codes");
          side.held = source.key;
          gl.activeTexture(gl.TEXTURE0 + 2 + number);
          gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, canvas.width, canvas.height, gl.RGBA,
            gl.UNSIGNED_BYTE, source.codes);
        }
        return;
      }
      this.make(source, number);
      const weights = new Float32Array(LAYERS);
      for (const plane of source.planes) weights[this.layer(side, number, plane, this.turn)] = plane.weight;
      gl.uniform1fv(this.place(`weights${number}`), weights);
    });
    gl.uniform1f(this.place("line"), line);
    gl.uniform1i(this.place("height"), canvas.height);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }
}
