/**
 * The frame in three passes, as the engine adds light up along a ray (previz/frames/hazed.py):
 *
 *   surfaces  what each surface sends back: direct light, dimmed by the haze on its way, and bounced light
 *   haze      the way to the lens: dimmed, shafts and the haze's own light added
 *   develop   out of focus, exposed, rolled off, coded
 *
 * Lengths are mm in set coordinates, light is linear RGB in cd/m2.
 */

export interface Kinds {
  sources: number;
  channels: number;
  groups: number;
  lamps: number;
  cells: number;
  moments: number;
  swirls: boolean;
}

const head = (k: Kinds) => `#version 300 es
precision highp float;
precision highp int;
precision highp sampler2D;
precision highp sampler2DArray;
precision highp sampler3D;
precision highp usampler2DArray;
#define SOURCES ${Math.max(1, k.sources)}
#define CHANNELS ${k.channels}
#define GROUPS ${k.groups}
#define LAMPS ${Math.max(1, k.lamps)}
#define CELLS ${Math.max(1, k.cells)}
const float PI = 3.14159265358979;
`;

/** What the haze between a point and each source's lamp lets pass, swirls included: of these x is the density here, over the mean. */
const haze_to_lamps = (k: Kinds) => `
uniform sampler3D uToLamps[GROUPS];
uniform vec3 uGridLow, uGridSize;
uniform float uExtinction;
uniform vec3 uSource[SOURCES];
${k.swirls ? `
uniform sampler3D uSwirls, uSwirlsNext;
uniform vec3 uSwirlLow, uSwirlSize;
uniform float uSwirlBlend;
vec4 swirls(vec3 point) {
  vec3 at = (point - uSwirlLow) / uSwirlSize;
  return mix(texture(uSwirls, at), texture(uSwirlsNext, at), uSwirlBlend);
}` : "vec4 swirls(vec3 point) { return vec4(1.0, 0.0, 0.0, 0.0); }"}
void dimmed(vec3 point, vec4 swirl, out float passed[SOURCES]) {
  vec3 at = (point - uGridLow) / uGridSize;
  for (int g = 0; g < GROUPS; g++) {
    vec4 length_mm = g == 0 ? texture(uToLamps[0], at) : texture(uToLamps[GROUPS - 1], at);
    for (int c = 0; c < CHANNELS; c++) {
      int s = g * CHANNELS + c;
      if (s < SOURCES) passed[s] = exp(-uExtinction * (length_mm[c] + (s < 3 ? swirl[s + 1] : 0.0)));
    }
  }
}
`;

export const surfaces = (k: Kinds) => ({
  vertex: `${head(k)}
in vec3 position;
in vec2 place;
in float chart;
uniform vec3 uEye, uForward, uRight, uUp;
uniform vec2 uHalf, uShift, uNearFar;
out vec3 vPoint;
out vec2 vPlace;
flat out int vChart;
void main() {
  vec3 way = position - uEye;
  float depth = dot(way, uForward);
  float near = uNearFar.x, far = uNearFar.y;
  gl_Position = vec4((vec2(dot(way, uRight), dot(way, uUp)) - depth * uShift) / uHalf, (depth * (far + near) - 2.0 * far * near) / (far - near), depth);
  vPoint = position;
  vPlace = place;
  vChart = int(chart + 0.5);
}`,
  fragment: `${head(k)}
in vec3 vPoint;
in vec2 vPlace;
flat in int vChart;
uniform vec3 uEye;
uniform sampler2D uCharts;
uniform sampler2DArray uBounce, uDirect;
uniform float uLevel[LAMPS];
uniform int uChartCount, uMoment, uNext;
uniform float uBlend;
uniform vec2 uRows;
${haze_to_lamps(k)}
layout(location = 0) out vec4 light;
vec4 of_chart(int property) { int i = property * uChartCount + vChart; return texelFetch(uCharts, ivec2(i & 1023, i >> 10), 0); }
vec3 on_chart(vec4 where, float rows, float layer) {
  vec2 at = clamp(vPlace * where.zw, vec2(0.5), where.zw - 0.5) + where.xy;
  return vec3(at / vec2(2048.0, rows), layer);
}
void main() {
  float passed[SOURCES];
  dimmed(vPoint, swirls(vPoint), passed);
  vec4 coarse = of_chart(0), fine = of_chart(1);
  vec3 arriving = vec3(0.0), shown = vec3(0.0);
  for (int lamp = 0; lamp < LAMPS; lamp++) {
    vec3 now = texture(uBounce, on_chart(coarse, uRows.x, float(uMoment * LAMPS + lamp))).rgb;
    vec3 glow = of_chart(3 + uMoment * LAMPS + lamp).rgb;
    if (uBlend > 0.0) {
      now = mix(now, texture(uBounce, on_chart(coarse, uRows.x, float(uNext * LAMPS + lamp))).rgb, uBlend);
      glow = mix(glow, of_chart(3 + uNext * LAMPS + lamp).rgb, uBlend);
    }
    arriving += uLevel[lamp] * now;
    shown += uLevel[lamp] * glow;
  }
  for (int g = 0; g < GROUPS; g++) {
    vec4 now = texture(uDirect, on_chart(fine, uRows.y, float(uMoment * GROUPS + g)));
    if (uBlend > 0.0) now = mix(now, texture(uDirect, on_chart(fine, uRows.y, float(uNext * GROUPS + g))), uBlend);
    for (int c = 0; c < CHANNELS; c++) {
      int s = g * CHANNELS + c;
      if (s < SOURCES) arriving += uSource[s] * now[c] * passed[s];
    }
  }
  light = vec4(arriving * of_chart(2).rgb / PI + shown, length(vPoint - uEye));
}`,
});

const whole_frame = `
out vec2 vAt;
void main() {
  vAt = vec2(gl_VertexID == 1 ? 2.0 : 0.0, gl_VertexID == 2 ? 2.0 : 0.0);
  gl_Position = vec4(2.0 * vAt - 1.0, 0.0, 1.0);
}`;

const grids = (of: string) => `uniform float uSeen${of}[SOURCES], uScale${of}[SOURCES];
uniform vec3 uFrom${of}[SOURCES], uLow${of}[SOURCES], uSize${of}[SOURCES];
uniform mat3 uAxes${of}[SOURCES];
uniform vec2 uTiles${of}[SOURCES], uSlab${of}[SOURCES];
`;

export const haze = (k: Kinds) => ({
  vertex: `${head(k)}${whole_frame}`,
  fragment: `${head(k)}
in vec2 vAt;
uniform sampler2D uSurfaces, uPhase, uPlanes, uBefore;
uniform sampler3D uGlow, uShafts;
uniform usampler2DArray uPlaces;
uniform vec3 uEye, uForward, uRight, uUp;
uniform vec2 uHalf, uShift;
uniform vec3 uCentre[SOURCES];
${grids("")}${k.moments > 1 ? `uniform sampler3D uShaftsNext;\nuniform usampler2DArray uPlacesNext;\n${grids("Next")}` : ""}
uniform float uScattering, uAlbedo, uBlend, uLayers, uTile, uStart, uShare;
uniform int uFirst[CELLS + 1];
uniform int uSteps;
uniform bool uCos4;
${haze_to_lamps(k)}
layout(location = 0) out vec4 light;
vec2 in_cell(int cell, vec3 dir, float far) {
  float t0 = 0.0, t1 = far;
  for (int p = uFirst[cell]; p < uFirst[cell + 1]; p++) {
    vec4 plane = texelFetch(uPlanes, ivec2(p & 1023, p >> 10), 0);
    float off = plane.w - dot(plane.xyz, uEye), slope = dot(plane.xyz, dir);
    if (abs(slope) < 1e-9) { if (off < 0.0) t1 = -1.0; }
    else if (slope > 0.0) t1 = min(t1, off / slope);
    else t0 = max(t0, off / slope);
  }
  return vec2(t0, max(t0, t1));
}
float phase(float cosine) {
  float root = sqrt(max(0.0, 1.0 - abs(cosine)));
  float at = (cosine >= 0.0 ? root : 2.0 - root) * 1024.0;
  int i = min(int(at), 2047);
  return mix(texelFetch(uPhase, ivec2(i, 0), 0).r, texelFetch(uPhase, ivec2(i + 1, 0), 0).r, at - float(i));
}
float in_grid(sampler3D box, usampler2DArray places, int s, vec3 point, bool seen, vec3 centre, mat3 axes, vec3 low, vec3 size, vec2 tiles, vec2 slab, float scale) {
  vec3 at = axes * (point - centre);
  if (seen) at.xy /= at.z;
  at = (at - low) / size;
  if (any(lessThan(at, vec3(0.0))) || any(greaterThan(at, vec3(1.0)))) return 0.0;
  ivec2 tile = ivec2(min(at.xy * tiles, tiles - 1.0));
  uvec2 place = texelFetch(places, ivec3(tile, s), 0).xy;
  // Most of the air is dark, and is not kept.
  if (place.x == 0u) return 0.0;
  at.xy = (vec2(place - 1u) * (uTile + 2.0) + 1.0 + (at.xy * tiles - vec2(tile)) * uTile) / vec2(textureSize(box, 0).xy);
  // A source's layers are stacked on those of the one before, and must not run into them.
  at.z = (slab.x + clamp(at.z * slab.y, 0.5, slab.y - 0.5)) / uLayers;
  return scale * texture(box, at).r;
}
float shaft(int s, vec3 point) {
  float now = in_grid(uShafts, uPlaces, s, point, uSeen[s] > 0.5, uFrom[s], uAxes[s], uLow[s], uSize[s], uTiles[s], uSlab[s], uScale[s]);
${k.moments > 1 ? "  if (uBlend > 0.0) now = mix(now, in_grid(uShaftsNext, uPlacesNext, s, point, uSeenNext[s] > 0.5, uFromNext[s], uAxesNext[s], uLowNext[s], uSizeNext[s], uTilesNext[s], uSlabNext[s], uScaleNext[s]), uBlend);" : ""}
  return now;
}
void main() {
  vec2 tangent = (2.0 * vAt - 1.0) * uHalf;
  vec2 seen = tangent + uShift;
  vec3 dir = normalize(uForward + seen.x * uRight + seen.y * uUp);
  vec4 surface = texelFetch(uSurfaces, ivec2(gl_FragCoord.xy), 0);
  float far = surface.a;
  vec2 span[CELLS];
  float total = 0.0;
  for (int c = 0; c < CELLS; c++) { span[c] = in_cell(c, dir, min(far, 1e5)); total += span[c].y - span[c].x; }
  // Interleaved gradient noise: neighbours begin at different depths, so no step shows as a line.
  float start = fract(uStart + 52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715))));
  vec3 added = vec3(0.0);
  float behind = 1.0;
  for (int c = 0; c < CELLS; c++) {
    float along = span[c].y - span[c].x;
    if (along <= 0.0 || uExtinction <= 0.0) continue;
    float nearer = 0.0;
    for (int o = 0; o < CELLS; o++) if (o != c) nearer += max(0.0, min(span[o].y, span[c].x) - span[o].x);
    int steps = max(4, int(ceil(float(uSteps) * along / total)));
    float step_mm = along / float(steps);
    float before = exp(-uExtinction * nearer);
    float left = 1.0;
    for (int i = 0; i < steps; i++) {
      vec3 point = uEye + (span[c].x + (float(i) + start) * step_mm) * dir;
      vec4 swirl = swirls(point);
      float kept = exp(-uExtinction * swirl.x * step_mm);
      float value[SOURCES], passed[SOURCES];
      bool lit = false;
      for (int s = 0; s < SOURCES; s++) { value[s] = shaft(s, point); lit = lit || value[s] > 0.0; }
      if (lit) dimmed(point, swirl, passed);
      vec3 sent = vec3(0.0);
      for (int s = 0; s < SOURCES; s++) {
        if (value[s] <= 0.0) continue;
        vec3 travel = point - uCentre[s];
        float square = dot(travel, travel);
        sent += uSource[s] * (value[s] / square * passed[s] * phase(dot(travel, -dir) * inversesqrt(square)));
      }
      vec3 glow = texture(uGlow, (point - uGridLow) / uGridSize).rgb;
      added += before * left * (1.0 - kept) * (sent * uScattering / uExtinction + uAlbedo * glow);
      left *= kept;
    }
    behind *= left;
  }
  vec3 all_light = surface.rgb * behind + added;
  if (uCos4) { float square = 1.0 + dot(tangent, tangent); all_light /= square * square; }
  // The depth along the axis is what focus is about.
  light = vec4(all_light, far * dot(dir, uForward));
  if (uShare < 1.0) light = mix(texelFetch(uBefore, ivec2(gl_FragCoord.xy), 0), light, uShare);
}`,
});

export const develop = (k: Kinds) => ({
  vertex: `${head(k)}${whole_frame}`,
  fragment: `${head(k)}
in vec2 vAt;
uniform sampler2D uLight;
uniform float uPupil, uFocus, uPixelsATangent, uExposure, uKnee, uWhiteExcess;
uniform mat3 uWhite;
uniform bool uLinear;
layout(location = 0) out vec4 picture;
float blur(float depth) { return min(24.0, uPupil * abs(1.0 / max(depth, 1e-3) - 1.0 / uFocus) * uPixelsATangent); }
void main() {
  ivec2 size = textureSize(uLight, 0);
  vec4 here = texelFetch(uLight, ivec2(gl_FragCoord.xy), 0);
  vec3 sum = here.rgb;
  if (uPupil > 0.0) {
    float own = max(0.5, blur(here.a));
    float weight = 1.0 / (own * own);
    sum *= weight;
    float turn = 6.2831853 * fract(52.9829189 * fract(dot(gl_FragCoord.xy, vec2(0.06711056, 0.00583715))));
    // What lies around sends its light here where it is blurred that far; the disc is read on a sunflower spiral.
    for (int i = 0; i < 40; i++) {
      float radius = 24.0 * sqrt((float(i) + 0.5) / 40.0) * min(1.0, max(own, 3.0) / 24.0 * 1.5);
      float angle = turn + 2.39996323 * float(i);
      ivec2 at = clamp(ivec2(gl_FragCoord.xy + radius * vec2(cos(angle), sin(angle))), ivec2(0), size - 1);
      vec4 there = texelFetch(uLight, at, 0);
      float wide = max(0.5, blur(there.a));
      // Blur behind an edge does not come over what is sharp before it.
      if (there.a > here.a) wide = min(wide, own);
      float share = clamp(wide - radius + 0.5, 0.0, 1.0) / (wide * wide);
      sum += share * there.rgb;
      weight += share;
    }
    sum /= weight;
  }
  if (uLinear) { picture = vec4(sum, 1.0); return; }
  vec3 value = max(uWhite * (sum * uExposure), 0.0);
  float room = 1.0 - uKnee;
  vec3 excess = clamp((value - uKnee) / room, 0.0, uWhiteExcess);
  value = clamp(value, 0.0, uKnee) + room * excess * (1.0 + excess / (uWhiteExcess * uWhiteExcess)) / (1.0 + excess);
  value = clamp(value, 0.0, 1.0);
  picture = vec4(mix(1.055 * pow(value, vec3(1.0 / 2.4)) - 0.055, 12.92 * value, lessThanEqual(value, vec3(0.0031308))), 1.0);
}`,
});
