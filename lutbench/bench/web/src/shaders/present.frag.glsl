// What is shown: one picture, two by a wipe or side by side, or their difference.
const int ONE = 0;
const int WIPE = 1;
const int BESIDE = 2;
const int DIFFERENCE = 3;
const int ON_RECORDING = 1;
const int ON_VIEW = 2;
const vec3 LUMA = vec3(0.2126, 0.7152, 0.0722);  // Recommendation ITU-R BT.709

uniform ivec2 extent;  // of the picture
uniform int look;
uniform bool stacked;
uniform float wipe;
uniform float gain;

uniform sampler2D first;
uniform sampler2D second;
uniform sampler2D exposed;
uniform vec2 firstEnds;  // values of signal 0 and 1
uniform vec2 secondEnds;
uniform vec2 sourceEnds;
uniform sampler3D firstView;
uniform sampler3D secondView;
uniform ivec2 viewSizes;  // 0: shown as it is

uniform bool wide;  // for the HDR canvas: HDR is shown as light
uniform sampler2D firstLight;
uniform sampler2D secondLight;
uniform int firstLightSize;  // 0: not HDR
uniform int secondLightSize;
uniform vec4 firstOotf;  // weights of the luminance, and its power
uniform vec4 secondOotf;
uniform mat3 firstToScreen;
uniform mat3 secondToScreen;

uniform int zebra;
uniform float zebraFrom;
uniform float stripe;

uniform int bandCount;  // 0: no false colour
uniform sampler2D bands;  // first row: low, high and whether it shows clipping; second row: colour
uniform float clipsFrom;  // the value of the highest code that is recorded
uniform sampler2D light;
uniform int lightSize;
uniform vec3 luminance;
uniform float moreStops;
uniform sampler2D grey;
uniform int greySize;
uniform vec2 greyEnds;

out vec4 colour;

vec3 signalOf(vec3 value, vec2 ends) {
  return (value - ends.x) / (ends.y - ends.x);
}

// Extended sRGB of the light of a display, 1.0 at the page's white.
vec3 inLight(sampler2D table, int count, vec3 signal, vec4 ootf, mat3 toScreen) {
  vec3 plain = alongEach(table, signal, count);
  float weighed = dot(plain, ootf.rgb);
  vec3 light = toScreen * (weighed > 0.0 ? plain * pow(weighed, ootf.a) : vec3(0.0));
  vec3 size = abs(light);
  vec3 curved = 1.055 * pow(max(size, 1e-9), vec3(1.0 / 2.4)) - 0.055;  // IEC 61966-2-1
  return sign(light) * mix(12.92 * size, curved, vec3(greaterThan(size, vec3(0.0031308))));
}

vec3 falseColour(vec3 recorded) {
  float level = dot(alongEach(light, recorded, lightSize), luminance);
  float stops = level > 0.0 ? log2(level / 0.18) + moreStops : -1.0e30;
  bool clips = any(greaterThanEqual(recorded, vec3(clipsFrom)));
  int found = -1;
  int marked = -1;
  for (int band = 0; band < bandCount; band += 1) {
    vec4 ends = texelFetch(bands, ivec2(band, 0), 0);
    if (found < 0 && stops >= ends.x && stops < ends.y) found = band;
    if (clips && ends.z > 0.0) marked = band;
  }
  if (marked >= 0) found = marked;
  if (found >= 0) return texelFetch(bands, ivec2(found, 1), 0).rgb;
  float place = (stops - greyEnds.x) / (greyEnds.y - greyEnds.x);
  return vec3(along(grey, clamp(place, 0.0, 1.0) * float(greySize - 1), greySize, 0));
}

vec3 firstAt(ivec2 at) {
  if (bandCount > 0) return falseColour(texelFetch(exposed, at, 0).rgb);
  vec3 signal = signalOf(texelFetch(first, at, 0).rgb, firstEnds);
  int size = viewSizes.x;
  vec3 shown = size > 0 ? tetrahedral(firstView, signal * float(size - 1), size) : signal;
  if (wide) {
    shown = firstLightSize > 0
      ? inLight(firstLight, firstLightSize, signal, firstOotf, firstToScreen)
      : clamp(shown, 0.0, 1.0);
  }
  if (zebra == 0) return shown;
  vec3 marked = zebra == ON_RECORDING ? signalOf(texelFetch(exposed, at, 0).rgb, sourceEnds) : signal;
  float phase = fract(float(at.x + at.y) / stripe);
  if (dot(marked, LUMA) < zebraFrom || phase >= 0.5) return shown;
  return vec3(phase < 0.25 ? 0.0 : 1.0);
}

vec3 secondAt(ivec2 at) {
  vec3 signal = signalOf(texelFetch(second, at, 0).rgb, secondEnds);
  int size = viewSizes.y;
  if (wide && secondLightSize > 0) {
    return inLight(secondLight, secondLightSize, signal, secondOotf, secondToScreen);
  }
  vec3 shown = size > 0 ? tetrahedral(secondView, signal * float(size - 1), size) : signal;
  return wide ? clamp(shown, 0.0, 1.0) : shown;
}

vec3 lookedAt(ivec2 at) {
  if (look == BESIDE) {
    bool later = stacked ? at.y >= extent.y : at.x >= extent.x;
    if (!later) return firstAt(at);
    return secondAt(at - (stacked ? ivec2(0, extent.y) : ivec2(extent.x, 0)));
  }
  if (look == WIPE) {
    return float(at.x) + 0.5 < wipe * float(extent.x) ? firstAt(at) : secondAt(at);
  }
  if (look == DIFFERENCE) return 0.5 + gain * (firstAt(at) - secondAt(at));
  return firstAt(at);
}

void main() {
  int height = look == BESIDE && stacked ? 2 * extent.y : extent.y;
  // A WebGL canvas starts at the bottom; the HDR canvas starts at the top.
  int down = int(gl_FragCoord.y);
  ivec2 at = ivec2(int(gl_FragCoord.x), wide ? down : height - 1 - down);
  vec3 shown = lookedAt(at);
  colour = vec4(wide ? shown : clamp(shown, 0.0, 1.0), 1.0);
}
