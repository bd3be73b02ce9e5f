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

struct Params { Num c[STEPS][12]; Num size[STEPS]; };
struct Place { Num cell, part; };  // the whole number below a place in a table, and the rest
typedef Place (*Finder)(Num, const Num*, int, Num);

// -- Numbers --------------------------------------------------------------------

#if SINGLE
// A float of 2**23 to 2**24 holds a whole number in its low bits. Adding 1.5 * 2**23,
// rounded down, is the floor of a small number and leaves it there: the device turns
// floats into integers, and back, at a quarter of the speed.
#define BIG 12582912.0f
#define BIG_BITS 0x4b400000
__device__ __forceinline__ Num lesser(Num a, Num b) { return fminf(a, b); }
__device__ __forceinline__ Num greater(Num a, Num b) { return fmaxf(a, b); }
__device__ __forceinline__ Num no_number() { return __int_as_float(0x7fc00000); }
__device__ __forceinline__ Num fused(Num a, Num b, Num c) { return __fmaf_rn(a, b, c); }
__device__ __forceinline__ int whole(Num x) { return __float_as_int(x + BIG) - BIG_BITS; }
__device__ __forceinline__ Num from_code(unsigned int e) {
  return __int_as_float(0x4b000000 | e) - 8388608.0f;
}
// The code at a place among those that fill whole words, of one or two bytes each.
__device__ __forceinline__ Num code_of_1(const unsigned int* words, int at) {
  return __int_as_float(__byte_perm(words[at / 4], 0x4b000000, 0x7440 + at % 4)) - 8388608.0f;
}
__device__ __forceinline__ Num code_of_2(const unsigned int* words, int at) {
  int half = at % 2 ? 0x7432 : 0x7410;
  return __int_as_float(__byte_perm(words[at / 2], 0x4b000000, half)) - 8388608.0f;
}
// The nearest code, halves up; NaN is code 0.
__device__ __forceinline__ unsigned int to_code(Num x, Num peak, Num half) {
  return __float_as_int(__fmaf_rd(__saturatef(x + half), peak, 8388608.0f));  // in the low bits
}
// A place from x * c[0..2] + c[3..5], which is 0..1 over the domain. Over a domain of 0..1
// it is exact; `prepare.how_found` says where it is taken. NaN is taken for the low end.
__device__ __forceinline__ Place quick(Num x, const Num* c, int axis, Num last) {
  Num held = __saturatef(__fmaf_rn(x, c[axis], c[3 + axis]));
  Num cell = __fadd_rn(__fmaf_rd(held, last, BIG), -BIG);
  return {cell, __fmaf_rn(held, last, -cell)};
}
// (x - low) * rate in numbers of twice the length, since a domain's ends are float64:
// low = c[0..2] + c[3..5], rate = c[6..8] + c[9..11].
__device__ __forceinline__ Place found(Num x, const Num* c, int axis, Num last) {
  Num low = c[axis], rate = c[6 + axis];
  Num d = __fadd_rn(x, -low);
  Num back = __fadd_rn(d, -x);
  Num left = __fadd_rn(__fadd_rn(x, -__fadd_rn(d, -back)), -__fadd_rn(low, back));
  Num place = __fmul_rn(d, rate);
  Num rest = __fmaf_rn(d, rate, -place) + d * c[9 + axis] + (left - c[3 + axis]) * rate;
  Num held = fminf(fmaxf(place, 0.0f), last);
  Num cell = __fadd_rn(__fadd_rd(held, BIG), -BIG);
  Num part = held - cell;
  if (held == place) part = fmaxf(part + rest, 0.0f);
  return {cell, part};
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
__device__ __forceinline__ Num lesser(Num a, Num b) { return fmin(a, b); }
__device__ __forceinline__ Num greater(Num a, Num b) { return fmax(a, b); }
__device__ __forceinline__ Num no_number() { return __longlong_as_double(0x7ff8000000000000LL); }
__device__ __forceinline__ Num fused(Num a, Num b, Num c) { return __fma_rn(a, b, c); }
__device__ __forceinline__ int whole(Num x) { return (int)x; }
__device__ __forceinline__ Num from_code(unsigned int e) { return (Num)e; }
__device__ __forceinline__ unsigned int to_code(Num x, Num peak, Num) {
  return (unsigned int)(fmin(fmax(x * peak, 0.0), peak) + 0.5);
}
__device__ __forceinline__ Place found(Num x, const Num* c, int axis, Num last) {
  Num held = fmin(fmax((x - c[axis]) * c[6 + axis], 0.0), last);
  Num cell = floor(held);
  return {cell, held - cell};
}
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

// A row of a curve and the step to its successor; the last row's step is 0. NaN stays NaN.
template <Finder finder>
__device__ __forceinline__ void curve(Num* p, const Num* c, Num size, const Pair* rows) {
  for (int i = 0; i < 3; ++i) {
    Place at = finder(p[i], c, i, size - 1);
    Pair row = rows[i * (int)size + whole(at.cell)];
    p[i] = p[i] == p[i] ? fused(at.part, row.y, row.x) : p[i];
  }
}

// Where a cell begins in a lattice of rows, and the steps to its next node on each axis.
// The last node has a cell of its own, whose far nodes repeat it.
struct Cell { int at, r, g, b; };
__device__ __forceinline__ Cell cell_of(Place x, Place y, Place z, Num size) {
  int row = (int)size + 1;
  return {(whole(x.cell) * row + whole(y.cell)) * row + whole(z.cell), row * row, row, 1};
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
// to its last goes along the axis of the largest fraction first and of the smallest last.
struct Path { Num largest, middle, smallest; int second, third, across; };
__device__ __forceinline__ Path path_through(Num r, Num g, Num b, int to_r, int to_g, int to_b) {
  bool rg = r >= g;
  Num upper = greater(r, g), lower = lesser(r, g);
  int to_upper = rg ? to_r : to_g, to_lower = rg ? to_g : to_r;
  bool below = lower >= b;
  Num next = greater(lower, b), smallest = lesser(lower, b);
  int to_next = below ? to_lower : to_b, last = below ? to_b : to_lower;
  int first = upper >= next ? to_upper : to_next;
  int across = to_r + to_g + to_b;
  return {greater(upper, next), lesser(upper, next), smallest, first, across - last, across};
}

// The weights are the differences of the sorted fractions.
template <Finder finder, bool finite>
__device__ __forceinline__ void tetrahedral(Num* p, const Num* c, Num size, const Node* nodes) {
  bool bad = has_no_number<finite>(p);
  Num end = size - 1;
  Place x = finder(p[0], c, 0, end), y = finder(p[1], c, 1, end), z = finder(p[2], c, 2, end);
  Cell cell = cell_of(x, y, z, size);
  Path path = path_through(x.part, y.part, z.part, cell.r, cell.g, cell.b);
  const Node* at = nodes + cell.at;
  Node n0 = node(at), n1 = node(at + path.second);
  Node n2 = node(at + path.third), n3 = node(at + path.across);
  Num w0 = bad ? no_number() : (Num)1 - path.largest;
  Num w1 = path.largest - path.middle, w2 = path.middle - path.smallest, w3 = path.smallest;
  p[0] = fused(w3, n3.x, fused(w2, n2.x, fused(w1, n1.x, w0 * n0.x)));
  p[1] = fused(w3, n3.y, fused(w2, n2.y, fused(w1, n1.y, w0 * n0.y)));
  p[2] = fused(w3, n3.z, fused(w2, n2.z, fused(w1, n1.z, w0 * n0.z)));
}

#if SINGLE
// The three numbers of 21 bits in a node of `pairs.py`. As the bits of a float a whole number
// is that many times 2**-149, which needs no conversion: weights are 2**100 times as large.
#define WEIGHT 1.2676506e30f
__device__ __forceinline__ float3 numbers(unsigned int low, unsigned int high) {
  return {__uint_as_float(high >> 11), __uint_as_float(__funnelshift_r(low, high, 21) & 0x1fffffu),
          __uint_as_float(low & 0x1fffffu)};
}
// A sum of such numbers, which the compiler is otherwise told to take for 0.
__device__ __forceinline__ Num weighed(const Num* w, Num n0, Num n1, Num n2, Num n3) {
  Num sum = 0;
  asm("fma.rn.f32 %0, %1, %2, %0;" : "+f"(sum) : "f"(w[0]), "f"(n0));
  asm("fma.rn.f32 %0, %1, %2, %0;" : "+f"(sum) : "f"(w[1]), "f"(n1));
  asm("fma.rn.f32 %0, %1, %2, %0;" : "+f"(sum) : "f"(w[2]), "f"(n2));
  asm("fma.rn.f32 %0, %1, %2, %0;" : "+f"(sum) : "f"(w[3]), "f"(n3));
  return sum;
}
// The same from nodes in pairs. c[6] is the size of a unit, c[7] the value of number 0.
template <bool finite>
__device__ __forceinline__ void paired(Num* p, const Num* c, Num size, const uint4* nodes) {
  bool bad = has_no_number<finite>(p);
  unsigned int cell[3], row = (unsigned int)size + 1;
  Num part[3];  // times WEIGHT
  for (int i = 0; i < 3; ++i) {  // as `quick`, with the cell still in the low bits
    Num held = __saturatef(__fmaf_rn(p[i], c[i], c[3 + i]));
    Num place = __fmaf_rd(held, size - 1, BIG);
    cell[i] = __float_as_int(place);
    part[i] = __fmaf_rn(held, (size - 1) * WEIGHT, -__fmaf_rn(place, WEIGHT, -BIG * WEIGHT));
  }
  Path path = path_through(part[0], part[1], part[2], row * row, row, 1);
  unsigned int high_bits = (BIG_BITS * row + BIG_BITS) * row + BIG_BITS;  // wraps, as the sum below
  const uint4* at = nodes + ((cell[0] * row + cell[1]) * row + cell[2] - high_bits);
  uint4 both = __ldg(at);
  uint2 second = __ldg((const uint2*)(at + path.second));
  uint2 third = __ldg((const uint2*)(at + path.third));
  float3 n0 = numbers(both.x, both.y), n3 = numbers(both.z, both.w);
  float3 n1 = numbers(second.x, second.y), n2 = numbers(third.x, third.y);
  Num w[4] = {WEIGHT - path.largest, path.largest - path.middle, path.middle - path.smallest,
              path.smallest};
  Num unit = bad ? no_number() : c[6];
  p[0] = fused(weighed(w, n0.x, n1.x, n2.x, n3.x), unit, c[7]);
  p[1] = fused(weighed(w, n0.y, n1.y, n2.y, n3.y), unit, c[7]);
  p[2] = fused(weighed(w, n0.z, n1.z, n2.z, n3.z), unit, c[7]);
}
#endif

template <Finder finder, bool finite>
__device__ __forceinline__ void trilinear(Num* p, const Num* c, Num size, const Node* nodes) {
  bool bad = has_no_number<finite>(p);
  Num end = size - 1;
  Place x = finder(p[0], c, 0, end), y = finder(p[1], c, 1, end), z = finder(p[2], c, 2, end);
  Cell cell = cell_of(x, y, z, size);
  Num one = (Num)1, r = x.part, g = y.part, b = z.part;
  Num w0 = bad ? no_number() : (one - r) * (one - g);
  Num w1 = (one - r) * g, w2 = r * (one - g), w3 = r * g;
  Num face[2][3];
  for (int far = 0; far < 2; ++far) {
    const Node* at = nodes + cell.at + far * cell.b;
    Node n0 = node(at), n1 = node(at + cell.g), n2 = node(at + cell.r);
    Node n3 = node(at + (cell.r + cell.g));
    face[far][0] = fused(w3, n3.x, fused(w2, n2.x, fused(w1, n1.x, w0 * n0.x)));
    face[far][1] = fused(w3, n3.y, fused(w2, n2.y, fused(w1, n1.y, w0 * n0.y)));
    face[far][2] = fused(w3, n3.z, fused(w2, n2.z, fused(w1, n1.z, w0 * n0.z)));
  }
  for (int i = 0; i < 3; ++i) p[i] = fused(b, face[1][i], (one - b) * face[0][i]);
}

// -- Pixels in and out -------------------------------------------------------------
