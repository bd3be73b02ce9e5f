// Counts as a trace: brighter where more pixels coincide.
const int WAVEFORM = 0;
const int PARADE = 1;
const int VECTORSCOPE = 2;

uniform sampler2D counts;
uniform ivec2 bins;
uniform ivec2 area;
uniform int scope;
uniform float full;  // the count that is drawn at full brightness
out vec4 colour;

// Different in lightness as well as in hue; the strips are labelled too.
const vec3 INKS[4] = vec3[4](
  vec3(1.0, 0.55, 0.42), vec3(0.52, 0.92, 0.62), vec3(0.55, 0.72, 1.0), vec3(0.93)
);

float trace(float count) {
  return count > 0.0 ? clamp(0.16 + 0.84 * (1.0 - exp(-3.0 * count / full)), 0.0, 1.0) : 0.0;
}

void main() {
  ivec2 at = ivec2(gl_FragCoord.xy);
  vec3 ground = vec3(0.055);
  vec3 ink = INKS[3];
  float bright = 0.0;
  if (scope == WAVEFORM) {
    int column = at.x * bins.x / area.x;
    bright = trace(texelFetch(counts, ivec2(column, at.y), 0).a);
  } else if (scope == PARADE) {
    int third = area.x / 3;
    int channel = min(at.x / third, 2);
    int start = (at.x - channel * third) * bins.x / third;
    int stop = max((at.x + 1 - channel * third) * bins.x / third, start + 1);
    float count = 0.0;
    for (int column = start; column < stop; column += 1) {
      count += texelFetch(counts, ivec2(min(column, bins.x - 1), at.y), 0)[channel];
    }
    bright = trace(count / 3.0);
    ink = INKS[channel];
  } else if (scope == VECTORSCOPE) {
    bright = trace(texelFetch(counts, at, 0).r);
  } else {
    int strip = 3 - at.y / (area.y / 4);
    float height = float(at.y % (area.y / 4)) / float(area.y / 4);
    float count = texelFetch(counts, ivec2(0, at.x * bins.y / area.x), 0)[strip];
    bright = count > 0.0 && height <= 0.92 * sqrt(min(count / full, 1.0)) ? 0.85 : 0.0;
    ink = INKS[strip];
  }
  colour = vec4(mix(ground, ink, bright), 1.0);
}
