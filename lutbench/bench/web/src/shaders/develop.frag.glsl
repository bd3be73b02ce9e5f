// A picture through a LUT: a curve, a lattice, or a curve before a lattice.
uniform sampler2D picture;
uniform sampler2D curve;
uniform int curveSize;  // 0: none
uniform vec3 curveLow;
uniform vec3 curveScale;
uniform sampler3D nodes;
uniform int size;  // 0: none
uniform vec3 low;
uniform vec3 scale;
out vec4 colour;

void main() {
  vec3 value = texelFetch(picture, ivec2(gl_FragCoord.xy), 0).rgb;
  if (curveSize > 0) value = shaped(curve, (value - curveLow) * curveScale, curveSize);
  if (size > 0) value = tetrahedral(nodes, (value - low) * scale, size);
  colour = vec4(value, 1.0);
}
