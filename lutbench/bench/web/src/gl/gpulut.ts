/** LUTs as textures, made at their first use. */

import { applyLut, type Interpolation, type Lut, type Table } from "../tables.ts";
import type { Triple } from "../types.ts";
import { cover, curveTexture, floatTexture, latticeTexture, release, target } from "./context.ts";
import type { GL, Program, Target } from "./context.ts";

/** Larger than any value of a LUT, so that clamping to it changes nothing. */
const FAR = 3e38;

interface Textures {
  curve: WebGLTexture | null;
  nodes: WebGLTexture | null;
}

function scaleOf(table: Table): Triple {
  const steps = table.size - 1;
  return table.low.map((low, channel) => steps / (table.high[channel] - low)) as Triple;
}

export class LutDrawer {
  private readonly made = new WeakMap<object, Textures>();
  private readonly none2d: WebGLTexture;
  private readonly none3d: WebGLTexture;

  constructor(
    private readonly gl: GL,
    private readonly develop: Program,
  ) {
    this.none2d = curveTexture(gl, new Float32Array(2), 1);
    this.none3d = latticeTexture(gl, 1, new Float32Array(3));
  }

  /** The texture of a lattice, or an empty one. */
  nodes(table: Table | null): WebGLTexture {
    return table ? (this.texturesOf({ curve: null, lattice: table }, table).nodes ?? this.none3d) : this.none3d;
  }

  get nothing(): WebGLTexture {
    return this.none2d;
  }

  private texturesOf(lut: Lut, key: object = lut): Textures {
    let found = this.made.get(key);
    if (!found) {
      const { curve, lattice } = lut;
      found = {
        curve: curve && curveTexture(this.gl, curve.values, 3),
        nodes: lattice && latticeTexture(this.gl, lattice.size, lattice.values),
      };
      this.made.set(key, found);
    }
    return found;
  }

  /** Draw `picture` through `lut` into `into`. */
  draw(lut: Lut, picture: WebGLTexture, into: Target, interpolation: Interpolation = "tetrahedral"): void {
    const { curve, lattice } = lut;
    const textures = this.texturesOf(lut);
    this.develop
      .use()
      .texture("picture", picture)
      .texture("curve", textures.curve ?? this.none2d)
      .int("curveSize", curve ? curve.size : 0)
      .float("curveLow", ...(curve?.low ?? [0, 0, 0]))
      .float("curveScale", ...(curve ? scaleOf(curve) : [1, 1, 1]))
      .texture("nodes", textures.nodes ?? this.none3d, true)
      .int("size", lattice ? lattice.size : 0)
      .int("straight", interpolation === "trilinear" ? 1 : 0)
      .float("low", ...(lattice?.low ?? [0, 0, 0]))
      .float("scale", ...(lattice ? scaleOf(lattice) : [1, 1, 1]));
    if (lut.held) this.develop.float("ends", ...lut.held);
    else this.develop.float("ends", -FAR, FAR);
    cover(this.gl, into, into.width, into.height);
  }

  /**
   * The largest differences on colours between the nodes: of this device from the same LUT in
   * float64, and of the two interpolations from each other.
   */
  largestErrors(lut: Lut, format: number, interpolation: Interpolation): { drawn: number; other: number } {
    const { gl } = this;
    const side = 16;
    const colours = new Float32Array(4 * side * side);
    for (let at = 0; at < side * side; at += 1) {
      // Steps of the generalised golden ratio fill the cube evenly.
      const rgb = [0.8191725, 0.6710436, 0.5497005].map((step) => (0.5 + step * at) % 1);
      colours.set([...rgb, 1], 4 * at);
    }
    const picture = floatTexture(gl, side, side, colours);
    const into = target(gl, side, side, format);
    this.draw(lut, picture, into, interpolation);
    const drawn = readFloats(gl, into);
    release(gl, into);
    gl.deleteTexture(picture);
    const another = interpolation === "trilinear" ? "tetrahedral" : "trilinear";
    const worst = { drawn: 0, other: 0 };
    for (let at = 0; at < side * side; at += 1) {
      const rgb = [...colours.subarray(4 * at, 4 * at + 3)] as Triple;
      const other = applyLut(lut, rgb, another);
      applyLut(lut, rgb, interpolation).forEach((value, channel) => {
        worst.drawn = Math.max(worst.drawn, Math.abs(value - drawn[4 * at + channel]));
        worst.other = Math.max(worst.other, Math.abs(value - other[channel]));
      });
    }
    return worst;
  }
}

/** R G B A of a part of a target, as floats whatever its format. */
export function readFloats(gl: GL, from: Target, x = 0, y = 0, width = from.width, height = from.height): Float32Array {
  gl.bindFramebuffer(gl.FRAMEBUFFER, from.buffer);
  if (gl.getParameter(gl.IMPLEMENTATION_COLOR_READ_TYPE) === gl.UNSIGNED_BYTE) {
    const codes = new Uint8Array(4 * width * height);
    gl.readPixels(x, y, width, height, gl.RGBA, gl.UNSIGNED_BYTE, codes);
    return Float32Array.from(codes, (code) => code / 255);
  }
  const values = new Float32Array(4 * width * height);
  gl.readPixels(x, y, width, height, gl.RGBA, gl.FLOAT, values);
  return values;
}
