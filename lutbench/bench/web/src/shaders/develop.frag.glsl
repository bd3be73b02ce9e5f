// A picture through a LUT: a curve, a lattice, or a curve before a lattice.
uniform sampler2D picture;
uniform sampler2D curve;
uniform int curveSize;  // 0: none
uniform vec3 curveLow;
uniform vec3 curveScale;
uniform sampler3D nodes;
uniform int size;  // 0: none
uniform bool straight;  // trilinear rather than tetrahedral
uniform vec3 low;
uniform vec3 scale;
uniform vec2 ends;  // limits of the output
out vec4 colour;

void main() {
  vec3 value = texelFetch(picture, ivec2(gl_FragCoord.xy), 0).rgb;
  if (curveSize > 0) value = shaped(curve, (value - curveLow) * curveScale, curveSize);
  vec3 steps = (value - low) * scale;
  if (size > 0) value = straight ? trilinear(nodes, steps, size) : tetrahedral(nodes, steps, size);
  colour = vec4(clamp(value, ends.x, ends.y), 1.0);
}
