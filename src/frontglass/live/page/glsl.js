// Light to codes on the graphics card, as picture/codes.py, past_white.py and dither.py do it.

export const VERTEX = `#version 300 es
void main() {
  vec2 at = vec2(gl_VertexID == 1 ? 3.0 : -1.0, gl_VertexID == 2 ? 3.0 : -1.0);
  gl_Position = vec4(at, 0.0, 1.0);
}`;

/** Codes of a render, as they are: without a card every line of a program takes its time, for every pixel. */
export const COPY = `#version 300 es
precision highp float;
precision highp int;
uniform sampler2D codes;
uniform int height;
out vec4 painted;

void main() {
  ivec2 at = ivec2(int(gl_FragCoord.x), height - 1 - int(gl_FragCoord.y));
  painted = vec4(texelFetch(codes, at, 0).rgb, 1.0);
}`;

/**
 * A blend; VIEW, GRAIN, LOST and KEEPS say what there is to it.
 *
 * Some loops run once at most: without a card a loop is left where no pixel needs it, while both ways of a branch are gone.
 */
export const blendWith = (names) => `#version 300 es
${names.map((name) => `#define ${name}\n`).join("")}${BLEND}`;

const BLEND = `
precision highp float;
precision highp int;
precision highp sampler2D;
precision highp sampler2DArray;
precision highp sampler3D;
uniform sampler2DArray light;
uniform sampler2D rank, triangular, grain, lost, least;
uniform sampler3D view;
uniform mat3 toScreen;
uniform int planes, height;
uniform int layers[LAYERS];
uniform float weights[LAYERS];
uniform vec3 direct;
out vec4 painted;

const mat3 CONES = mat3(
  0.4122214708, 0.2119034982, 0.0883024619,
  0.5363325363, 0.6806995451, 0.2817188376,
  0.0514459929, 0.1073969566, 0.6299787005);
const float NONE = -65000.0; // below it, no lamp: LEAST_HALF
const vec3 LUMINANCE = vec3(0.2126, 0.7152, 0.0722);

vec3 nearer(vec3 roots, float left, mat3 back) {
  vec3 mixed = 1.0 - (1.0 - roots) * left;
  vec3 rgb = back * (mixed * mixed * mixed);
  return rgb / max(rgb.r, max(rgb.g, rgb.b));
}

vec3 towardsWhite(vec3 light, float m) {
  vec3 hue = max(light / m, 0.0);
  mat3 back = inverse(CONES);
  vec3 roots = pow(CONES * hue, vec3(1.0 / 3.0));
  float y = dot(LUMINANCE, hue);
  float rising = (dot(LUMINANCE, nearer(roots, 0.99, back)) - y) / 0.01;
  float least = min(min(hue.r, min(hue.g, hue.b)), 0.999999);
  float slope = clamp(y / max(rising, 1e-9) - least / (1.0 - least), 0.25, 3.0);
  float left = pow(m, -slope) * max(1.0 - least * m, 0.0) / (1.0 - least);
  return max(nearer(roots, left, back), 0.0);
}

vec3 signalOf(vec3 light) {
  vec3 y = clamp(light, 0.0, 1.0);
  return mix(12.92 * y, 1.055 * pow(y, vec3(1.0 / 2.4)) - 0.055, greaterThan(y, vec3(0.0031308)));
}

// As live/shown.py lays the places out.
vec3 throughView(vec3 light) {
  float nodes = float(textureSize(view, 0).x);
  vec3 place = log2(max(light, 0.0) * 256.0 + 1.0) / log2(1024.0 * 256.0 + 1.0);
  return texture(view, (clamp(place, 0.0, 1.0) * (nodes - 1.0) + 0.5) / nodes).rgb;
}

vec3 dithered(vec3 signal, ivec2 at) {
  vec3 value = clamp(signal, 0.0, 1.0) * 255.0 + 0.5;
  ivec2 tile = at & 127;
  bvec3 isAtEnd = notEqual(clamp(value, 1.0, 255.0), value);
  vec3 noise = mix(texelFetch(triangular, tile, 0).rgb, texelFetch(rank, tile, 0).rgb - 0.5, isAtEnd);
  return floor(value + noise) / 255.0;
}

// Noise goes by the root of the light that is seen: as pipeline/kept_grain.py lays it.
vec3 grained(vec3 seen, ivec2 at) {
#ifdef GRAIN
  return seen + texelFetch(grain, at, 0).rgb * sqrt(max(seen, 0.0) + 0.003);
#else
  return seen;
#endif
}

vec3 coded(vec3 seen, ivec2 at) {
#ifdef VIEW
  return dithered(throughView(seen), at);
#else
  float m = max(seen.r, max(seen.g, seen.b));
  for (; m > 1.0; m = 0.0) seen = towardsWhite(seen, m);
  return dithered(signalOf(seen), at);
#endif
}

void main() {
  ivec2 at = ivec2(int(gl_FragCoord.x), height - 1 - int(gl_FragCoord.y));
  vec3 seen = vec3(0.0);
  for (int k = 0; k < planes; k++) seen += weights[k] * texelFetch(light, ivec3(at, layers[k]), 0).rgb;
#ifdef LOST
  // A lamp without the direct light that it had lost, but no darker than bare unless with all its light: pipeline/recovered_light.py.
  vec3 bare = texelFetch(least, at, 0).rgb;
  for (bool isLamp = bare.r > NONE; isLamp; isLamp = false) {
    seen = min(seen + texelFetch(lost, at, 0).rgb * direct, max(seen, bare));
  }
#endif
  vec3 own = grained(seen, at), codes = coded(toScreen * own, at);
#ifdef KEEPS
  // Where a lamp is no darker than bare, for it would be, it keeps its code: picture/codes.py.
  for (bvec3 isBare = equal(seen, bare); any(isBare); isBare = bvec3(false)) {
    codes = mix(codes, floor(signalOf(own) * 255.0 + 0.5) / 255.0, isBare);
  }
#endif
  painted = vec4(codes, 1.0);
}`;
