precision highp float;
precision highp int;
precision highp sampler2D;
precision highp sampler3D;

// A curve's texels hold a value and the next one, ROW of them a line: one read a channel.
const int ROW = 1024;

float along(sampler2D curve, float steps, int size, int line) {
  float held = clamp(steps, 0.0, float(size - 1));
  int cell = min(int(held), size - 2);
  vec2 ends = texelFetch(curve, ivec2(cell % ROW, line + cell / ROW), 0).rg;
  return mix(ends.x, ends.y, held - float(cell));
}

// The same curve for every channel, over values 0..1.
vec3 alongEach(sampler2D curve, vec3 value, int size) {
  vec3 steps = value * float(size - 1);
  return vec3(
    along(curve, steps.r, size, 0),
    along(curve, steps.g, size, 0),
    along(curve, steps.b, size, 0)
  );
}

// A curve for each channel, one below the other.
vec3 shaped(sampler2D curve, vec3 steps, int size) {
  int lines = (size + ROW - 1) / ROW;
  return vec3(
    along(curve, steps.r, size, 0),
    along(curve, steps.g, size, lines),
    along(curve, steps.b, size, 2 * lines)
  );
}

// Trilinear interpolation: eight reads.
vec3 trilinear(sampler3D nodes, vec3 steps, int size) {
  vec3 held = clamp(steps, 0.0, float(size - 1));
  ivec3 cell = min(ivec3(held), size - 2);
  vec3 f = held - vec3(cell);
  vec3 sum = vec3(0.0);
  for (int corner = 0; corner < 8; corner += 1) {
    ivec3 end = ivec3(corner & 1, (corner >> 1) & 1, corner >> 2);
    vec3 weight = mix(1.0 - f, f, vec3(end));
    sum += weight.r * weight.g * weight.b * texelFetch(nodes, (cell + end).bgr, 0).rgb;
  }
  return sum;
}

// Tetrahedral interpolation: four reads. Blue runs fastest, so it is the texture's x.
vec3 tetrahedral(sampler3D nodes, vec3 steps, int size) {
  vec3 held = clamp(steps, 0.0, float(size - 1));
  ivec3 cell = min(ivec3(held), size - 2);
  vec3 f = held - vec3(cell);
  float upper = max(f.r, f.g);
  float lower = min(f.r, f.g);
  float largest = max(upper, f.b);
  float middle = max(min(upper, f.b), lower);
  float smallest = min(lower, f.b);
  ivec3 first = f.r >= f.g && f.r >= f.b ? ivec3(1, 0, 0)
    : f.g >= f.b ? ivec3(0, 1, 0) : ivec3(0, 0, 1);
  ivec3 final = f.r >= f.b && f.g >= f.b ? ivec3(0, 0, 1)
    : f.r >= f.g ? ivec3(0, 1, 0) : ivec3(1, 0, 0);
  ivec3 next = cell + 1;
  return (1.0 - largest) * texelFetch(nodes, cell.bgr, 0).rgb
    + (largest - middle) * texelFetch(nodes, (cell + first).bgr, 0).rgb
    + (middle - smallest) * texelFetch(nodes, (next - final).bgr, 0).rgb
    + smallest * texelFetch(nodes, next.bgr, 0).rgb;
}
