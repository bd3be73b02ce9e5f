// The recording with more or less light.
uniform sampler2D picture;
uniform sampler2D exposure;
uniform int exposureSize;
out vec4 colour;

void main() {
  vec3 value = texelFetch(picture, ivec2(gl_FragCoord.xy), 0).rgb;
  colour = vec4(alongEach(exposure, value, exposureSize), 1.0);
}
