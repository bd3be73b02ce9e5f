#version 300 es
// Every pixel as a point where a scope counts it: instances 0 to 3 are R, G, B and luma.
precision highp float;
precision highp int;
precision highp sampler2D;

const int WAVEFORM = 0;
const int VECTORSCOPE = 1;
const vec3 LUMA = vec3(0.2126, 0.7152, 0.0722);  // Recommendation ITU-R BT.709, item 3.2
const vec2 CHROMA = vec2(1.8556, 1.5748);  // item 3.3: (B' - Y') and (R' - Y') over these

uniform sampler2D picture;
uniform ivec2 extent;
uniform int stride;
uniform int kind;
uniform int step;  // columns of the picture in one of the scope
uniform ivec2 bins;
uniform vec2 ends;
flat out vec4 mark;

int level(float value, int count) {
  return clamp(int(floor(value * float(count - 1) + 0.5)), 0, count - 1);
}

void main() {
  int across = (extent.x + stride - 1) / stride;
  ivec2 at = ivec2(gl_VertexID % across, gl_VertexID / across) * stride;
  vec3 value = texelFetch(picture, at, 0).rgb;
  vec4 all = vec4(value, dot(value, LUMA));
  ivec2 bin = ivec2(at.x / step, level(all[gl_InstanceID], bins.y));
  if (kind == VECTORSCOPE) {
    vec3 signal = (value - ends.x) / (ends.y - ends.x);
    float luma = dot(signal, LUMA);
    vec2 chroma = (signal.br - luma) / CHROMA;
    // Zero chroma is at the centre of the middle bin.
    vec2 place = vec2(bins / 2) + chroma * vec2(bins - 2);
    bin = clamp(ivec2(floor(place + 0.5)), ivec2(0), bins - 1);
  }
  mark = vec4(equal(ivec4(gl_InstanceID), ivec4(0, 1, 2, 3)));
  gl_PointSize = 1.0;
  gl_Position = vec4((vec2(bin) + 0.5) / vec2(bins) * 2.0 - 1.0, 0.0, 1.0);
}
