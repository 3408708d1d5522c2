// Light to codes on the graphics card, as picture/codes.py, past_white.py and dither.py do it.

export const VERTEX = `#version 300 es
void main() {
  vec2 at = vec2(gl_VertexID == 1 ? 3.0 : -1.0, gl_VertexID == 2 ? 3.0 : -1.0);
  gl_Position = vec4(at, 0.0, 1.0);
}`;

export const FRAGMENT = `#version 300 es
precision highp float;
precision highp int;
precision highp sampler2D;
precision highp sampler2DArray;
precision highp sampler3D;
uniform sampler2DArray light0, light1;
uniform sampler2D codes0, codes1, noise, grain, lost, least;
uniform sampler3D view;
uniform bool hasView, hasGrain, keepsCodes;
uniform mat3 toScreen;
uniform float weights0[LAYERS], weights1[LAYERS];
uniform bool isExact0, isExact1, hasLost0, hasLost1;
uniform vec3 direct0, direct1;
uniform float line;
uniform int height;
out vec4 painted;

const mat3 CONES = mat3(
  0.4122214708, 0.2119034982, 0.0883024619,
  0.5363325363, 0.6806995451, 0.2817188376,
  0.0514459929, 0.1073969566, 0.6299787005);
const vec3 LUMINANCE = vec3(0.2126, 0.7152, 0.0722);

vec3 nearer(vec3 roots, float left, mat3 back) {
  vec3 mixed = 1.0 - (1.0 - roots) * left;
  vec3 rgb = back * (mixed * mixed * mixed);
  return rgb / max(rgb.r, max(rgb.g, rgb.b));
}

vec3 towardsWhite(vec3 light) {
  float m = max(light.r, max(light.g, light.b));
  if (m <= 1.0) return light;
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

float noiseAt(ivec2 at, int channel) {
  ivec2 rolled = ivec2(at.x - 71 * channel, at.y - 43 * channel) & 127;
  return texelFetch(noise, rolled, 0).r;
}

float signalOf(float light) {
  float y = clamp(light, 0.0, 1.0);
  return y > 0.0031308 ? 1.055 * pow(y, 1.0 / 2.4) - 0.055 : 12.92 * y;
}

// As live/shown.py lays the places out.
vec3 throughView(vec3 light) {
  float nodes = float(textureSize(view, 0).x);
  vec3 place = log2(max(light, 0.0) * 256.0 + 1.0) / log2(1024.0 * 256.0 + 1.0);
  return texture(view, (clamp(place, 0.0, 1.0) * (nodes - 1.0) + 0.5) / nodes).rgb;
}

float code(float signal, ivec2 at, int channel) {
  float value = clamp(signal, 0.0, 1.0) * 255.0 + 0.5;
  float rank = noiseAt(at, channel);
  float triangular = rank < 0.5 ? sqrt(2.0 * rank) - 1.0 : 1.0 - sqrt(2.0 * (1.0 - rank));
  bool isAtEnd = value < 1.0 || value > 255.0;
  return floor(value + (isAtEnd ? rank - 0.5 : triangular));
}

// A lamp without the direct light that it had lost, but no darker than bare unless with all its light: pipeline/recovered_light.py.
vec3 withLamps(vec3 light, ivec2 at, vec3 direct) {
  vec3 whole = light + texelFetch(lost, at, 0).rgb * direct;
  return min(whole, max(light, texelFetch(least, at, 0).rgb));
}

// Noise goes by the root of the light that is seen: as pipeline/kept_grain.py lays it.
vec3 grained(vec3 light, ivec2 at) {
  return hasGrain ? light + texelFetch(grain, at, 0).rgb * sqrt(max(light, 0.0) + 0.003) : light;
}

vec3 coded(vec3 light, ivec2 at) {
  vec3 shown = hasView ? throughView(light) : towardsWhite(light);
  if (!hasView) shown = vec3(signalOf(shown.r), signalOf(shown.g), signalOf(shown.b));
  return vec3(code(shown.r, at, 0), code(shown.g, at, 1), code(shown.b, at, 2)) / 255.0;
}

// Where a lamp is no darker than bare, for it would be, it keeps its code: picture/codes.py.
vec3 withOwnCodes(vec3 codes, vec3 light, ivec2 at) {
  vec3 bare = texelFetch(least, at, 0).rgb, own = grained(light, at);
  if (!keepsCodes || hasView) return codes;
  for (int c = 0; c < 3; c++) {
    if (light[c] == bare[c]) codes[c] = floor(signalOf(own[c]) * 255.0 + 0.5) / 255.0;
  }
  return codes;
}

void main() {
  ivec2 at = ivec2(int(gl_FragCoord.x), height - 1 - int(gl_FragCoord.y));
  vec3 light = vec3(0.0);
  bool hasLost = gl_FragCoord.x < line ? hasLost0 : hasLost1;
  if (gl_FragCoord.x < line) {
    if (isExact0) { painted = vec4(texelFetch(codes0, at, 0).rgb, 1.0); return; }
    for (int k = 0; k < LAYERS; k++) {
      if (weights0[k] != 0.0) light += weights0[k] * texelFetch(light0, ivec3(at, k), 0).rgb;
    }
    if (hasLost0) light = withLamps(light, at, direct0);
  } else {
    if (isExact1) { painted = vec4(texelFetch(codes1, at, 0).rgb, 1.0); return; }
    for (int k = 0; k < LAYERS; k++) {
      if (weights1[k] != 0.0) light += weights1[k] * texelFetch(light1, ivec3(at, k), 0).rgb;
    }
    if (hasLost1) light = withLamps(light, at, direct1);
  }
  vec3 codes = coded(toScreen * grained(light, at), at);
  painted = vec4(hasLost ? withOwnCodes(codes, light, at) : codes, 1.0);
}`;
