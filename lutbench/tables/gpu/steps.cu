// The steps of a program on one pixel, in float (SINGLE) or double. Values, tables and
// order of work are those of tables/kernels.py; products may be fused with sums, and a
// power is the device's own, so results agree with it within rounding.

#if SINGLE
typedef float Num;
typedef float4 Node;
typedef float2 Pair;
#else
typedef double Num;
struct alignas(16) Node { double x, y, z, w; };
struct alignas(16) Pair { double x, y; };
#endif

struct Params { Num c[STEPS][12]; int size[STEPS]; };
struct Place { int cell; Num part; };  // see CELL_BIAS
typedef Place (*Finder)(Num, const Num*, int, int);

// -- Numbers --------------------------------------------------------------------

#if SINGLE
// A float of 2**23 to 2**24 holds a whole number in its low bits. Adding 1.5 * 2**23,
// rounded down, is the floor of a small number and leaves it there: the device turns
// floats into integers, and back, at a quarter of the speed. A cell keeps the bits as
// they are; the bias is taken off the table's address, once for all three axes.
#define BIG 12582912.0f
#define CELL_BIAS 0x4b400000
__device__ __forceinline__ Num lesser(Num a, Num b) { return fminf(a, b); }
__device__ __forceinline__ Num greater(Num a, Num b) { return fmaxf(a, b); }
__device__ __forceinline__ Num no_number() { return __int_as_float(0x7fc00000); }
__device__ __forceinline__ Num fused(Num a, Num b, Num c) { return __fmaf_rn(a, b, c); }
__device__ __forceinline__ Num from_code(unsigned int e) {
  return __int_as_float(0x4b000000 | e) - 8388608.0f;
}
// The nearest code, halves up; NaN is code 0.
__device__ __forceinline__ unsigned int to_code(Num x, Num peak) {
  x = fminf(fmaxf(__fmaf_rn(x, peak, 0.5f), 0.5f), peak + 0.5f);
  return __float_as_int(__fadd_rd(x, 8388608.0f));  // the low bits are the code
}
// The cell of a place of 0..size-1 and the fraction in it; `rest` is what the place
// left over in rounding. The last node has a cell of its own, whose far nodes repeat it.
__device__ __forceinline__ Place in_table(Num place, Num rest, int size) {
  Num held = fminf(fmaxf(place, 0.0f), (Num)(size - 1));
  Num sum = __fadd_rd(held, BIG);
  Num part = held - __fadd_rn(sum, -BIG);
  if (held == place) part = fmaxf(part + rest, 0.0f);
  return {__float_as_int(sum), part};
}
__device__ __forceinline__ Place exact(Num x, const Num* c, int axis, int size) {
  Num held = fminf(fmaxf(x * c[6 + axis], 0.0f), (Num)(size - 1));
  Num sum = __fadd_rd(held, BIG);
  return {__float_as_int(sum), held - __fadd_rn(sum, -BIG)};
}
// A whole code of 0..c[0]: only the last product is rounded; see `programs.finding`.
__device__ __forceinline__ Place coded(Num x, const Num* c, int axis, int size) {
  Num place = fminf(x, c[0]) * (Num)(size - 1);
  Num sum = __fadd_rd(place * c[1], BIG);
  return {__float_as_int(sum), __fmaf_rn(-__fadd_rn(sum, -BIG), c[0], place) * c[1]};
}
// x * rate, and (x - low) * rate, in numbers of twice the length, since a domain's ends
// are float64: low = c[0..2] + c[3..5], rate = c[6..8] + c[9..11].
__device__ __forceinline__ Place from_zero(Num x, const Num* c, int axis, int size) {
  Num place = __fmul_rn(x, c[6 + axis]);
  return in_table(place, __fmaf_rn(x, c[6 + axis], -place) + x * c[9 + axis], size);
}
__device__ __forceinline__ Place found(Num x, const Num* c, int axis, int size) {
  Num low = c[axis], rate = c[6 + axis];
  Num d = __fadd_rn(x, -low);
  Num back = __fadd_rn(d, -x);
  Num left = __fadd_rn(__fadd_rn(x, -__fadd_rn(d, -back)), -__fadd_rn(low, back));
  Num place = __fmul_rn(d, rate);
  Num rest = __fmaf_rn(d, rate, -place) + d * c[9 + axis] + (left - c[3 + axis]) * rate;
  return in_table(place, rest, size);
}
// Numbers under the least normal one count as 0, as in the other kernels.
__device__ __forceinline__ Num raised(Num x, Num power) {
  Num y;
  asm("lg2.approx.ftz.f32 %0, %1;" : "=f"(y) : "f"(x));
  y *= power;
  asm("ex2.approx.ftz.f32 %0, %1;" : "=f"(y) : "f"(y));
  return y;
}
#else
#define CELL_BIAS 0
__device__ __forceinline__ Num lesser(Num a, Num b) { return fmin(a, b); }
__device__ __forceinline__ Num greater(Num a, Num b) { return fmax(a, b); }
__device__ __forceinline__ Num no_number() { return __longlong_as_double(0x7ff8000000000000LL); }
__device__ __forceinline__ Num fused(Num a, Num b, Num c) { return __fma_rn(a, b, c); }
__device__ __forceinline__ Num from_code(unsigned int e) { return (Num)e; }
__device__ __forceinline__ unsigned int to_code(Num x, Num peak) {
  return (unsigned int)(fmin(fmax(x * peak, 0.0), peak) + 0.5);
}
__device__ __forceinline__ Place exact(Num x, const Num* c, int axis, int size) {
  Num held = fmin(fmax((x - c[axis]) * c[6 + axis], 0.0), (Num)(size - 1));
  int cell = (int)held;
  return {cell, held - (Num)cell};
}
#define found exact
#define from_zero exact
__device__ __forceinline__ Num raised(Num x, Num power) {
  return x < 2.2250738585072014e-308 ? 0.0 : pow(x, power);
}
#endif

// -- Steps without a table --------------------------------------------------------

__device__ __forceinline__ void matrix(Num* p, const Num* c) {
  Num r = p[0], g = p[1], b = p[2];
  p[0] = fused(c[0], r, fused(c[1], g, fused(c[2], b, c[9])));
  p[1] = fused(c[3], r, fused(c[4], g, fused(c[5], b, c[10])));
  p[2] = fused(c[6], r, fused(c[7], g, fused(c[8], b, c[11])));
}
__device__ __forceinline__ void clamp(Num* p, const Num* c) {  // NaN stays NaN
  for (int i = 0; i < 3; ++i) {
#if SINGLE && __CUDA_ARCH__ >= 800
    asm("max.NaN.f32 %0, %0, %1;" : "+f"(p[i]) : "f"(c[0]));
    asm("min.NaN.f32 %0, %0, %1;" : "+f"(p[i]) : "f"(c[1]));
#else
    Num x = p[i] < c[0] ? c[0] : p[i];
    p[i] = x > c[1] ? c[1] : x;
#endif
  }
}
__device__ __forceinline__ void power(Num* p, const Num* c) {
  for (int i = 0; i < 3; ++i)
    if (c[i] != (Num)1) p[i] = p[i] > (Num)0 ? raised(p[i], c[i]) : p[i];
}

// -- Tables -----------------------------------------------------------------------

// A row of a curve and its successor; the last row is its own. NaN stays NaN.
template <Finder finder>
__device__ __forceinline__ void curve(Num* p, const Num* c, int size, const Pair* rows) {
  for (int i = 0; i < 3; ++i) {
    Place at = finder(p[i], c, i, size);
    Pair two = rows[i * size + (at.cell - CELL_BIAS)];
    Num y = fused(at.part, two.y, ((Num)1 - at.part) * two.x);
    p[i] = p[i] == p[i] ? y : p[i];
  }
}

// Where a cell begins in a lattice, and the steps to its next node on each axis. In
// BRICKS of 2 x 2 x 2 nodes a cell is in fewer lines of the cache, which pays where
// colours are wild; it costs arithmetic, of which a chain of steps has enough.
struct Cell { int at, r, g, b; };
__device__ __forceinline__ Cell cell_of(int r, int g, int b, int size) {
#if !BRICKS
  int row = 2 * (size / 2 + 1);
  return {(r * row + g) * row + b - CELL_BIAS * (row * row + row + 1), row * row, row, 1};
#else
  int row = size / 2 + 1;
  int b_far = 8, g_far = 8 * row, r_far = g_far * row;
  Cell cell;
  r -= CELL_BIAS, g -= CELL_BIAS, b -= CELL_BIAS;
  cell.at = (r >> 1) * r_far + (g >> 1) * g_far + (b >> 1) * b_far
          + ((r & 1) * 4 + (g & 1) * 2 + (b & 1));
  cell.r = r & 1 ? r_far - 4 : 4;
  cell.g = g & 1 ? g_far - 2 : 2;
  cell.b = b & 1 ? b_far - 1 : 1;
  return cell;
#endif
}

__device__ __forceinline__ Node node(const Node* at) {
#if SINGLE
  return __ldg(at);
#else
  double2 a = __ldg((const double2*)at), b = __ldg((const double2*)at + 1);
  return {a.x, a.y, b.x, b.y};
#endif
}

template <bool finite>
__device__ __forceinline__ bool has_no_number(const Num* p) {
  if (finite) return false;
  return (p[0] != p[0]) | (p[1] != p[1]) | (p[2] != p[2]);
}

// A cell is cut into six tetrahedra along its grey diagonal. The path from its first node
// to its last goes along the axis of the largest fraction first and of the smallest last;
// the weights are the differences of the sorted fractions.
template <Finder finder, bool finite>
__device__ __forceinline__ void tetrahedral(Num* p, const Num* c, int size, const Node* nodes) {
  bool bad = has_no_number<finite>(p);
  Place x = finder(p[0], c, 0, size), y = finder(p[1], c, 1, size), z = finder(p[2], c, 2, size);
  Cell cell = cell_of(x.cell, y.cell, z.cell, size);
  Num r = x.part, g = y.part, b = z.part;
  Num upper = greater(r, g), lower = lesser(r, g);
  Num largest = greater(upper, b), smallest = lesser(lower, b);
  Num middle = greater(lower, lesser(upper, b));
  bool rg = r >= g, rb = r >= b, gb = g >= b;
  int first = rg & rb ? cell.r : (gb ? cell.g : cell.b);
  int last = rb & gb ? cell.b : (rg ? cell.g : cell.r);
  int across = cell.r + cell.g + cell.b;
  const Node* at = nodes + cell.at;
  Node n0 = node(at), n1 = node(at + first), n2 = node(at + (across - last)), n3 = node(at + across);
  Num w0 = bad ? no_number() : (Num)1 - largest;
  Num w1 = largest - middle, w2 = middle - smallest, w3 = smallest;
  p[0] = fused(w3, n3.x, fused(w2, n2.x, fused(w1, n1.x, w0 * n0.x)));
  p[1] = fused(w3, n3.y, fused(w2, n2.y, fused(w1, n1.y, w0 * n0.y)));
  p[2] = fused(w3, n3.z, fused(w2, n2.z, fused(w1, n1.z, w0 * n0.z)));
}

template <Finder finder, bool finite>
__device__ __forceinline__ void trilinear(Num* p, const Num* c, int size, const Node* nodes) {
  bool bad = has_no_number<finite>(p);
  Place x = finder(p[0], c, 0, size), y = finder(p[1], c, 1, size), z = finder(p[2], c, 2, size);
  Cell cell = cell_of(x.cell, y.cell, z.cell, size);
  Num one = (Num)1, r = x.part, g = y.part, b = z.part;
  Num w0 = bad ? no_number() : (one - r) * (one - g);
  Num w1 = (one - r) * g, w2 = r * (one - g), w3 = r * g;
  Num face[2][3];
  for (int end = 0; end < 2; ++end) {
    const Node* at = nodes + cell.at + end * cell.b;
    Node n0 = node(at), n1 = node(at + cell.g), n2 = node(at + cell.r);
    Node n3 = node(at + (cell.r + cell.g));
    face[end][0] = fused(w3, n3.x, fused(w2, n2.x, fused(w1, n1.x, w0 * n0.x)));
    face[end][1] = fused(w3, n3.y, fused(w2, n2.y, fused(w1, n1.y, w0 * n0.y)));
    face[end][2] = fused(w3, n3.z, fused(w2, n2.z, fused(w1, n1.z, w0 * n0.z)));
  }
  for (int i = 0; i < 3; ++i) p[i] = fused(b, face[1][i], (one - b) * face[0][i]);
}

// -- Pixels in and out -------------------------------------------------------------
