/** The encoding of the recording: light of its values, values of light, stops. */

import { unpack, type Table } from "./tables.ts";
import type { Source, Triple } from "./types.ts";

export const MID_GREY = 0.18;

/** Nodes of the lattice that encodes an ordinary picture. */
const STAND_IN_SIZE = 33;

export class SourceCurve {
  readonly light: Float32Array;

  constructor(readonly data: Source) {
    this.light = unpack(data.light.table);
  }

  /** Light of a full-scale value. */
  decode(value: number): number {
    const last = this.light.length - 1;
    const at = Math.min(Math.max(value, 0), 1) * last;
    const cell = Math.min(Math.floor(at), last - 1);
    return this.light[cell] + (at - cell) * (this.light[cell + 1] - this.light[cell]);
  }

  /** Full-scale value of light, clamped to 0..1: light beyond the recording clips. */
  encode(light: number): number {
    const table = this.light;
    const last = table.length - 1;
    if (!(light > table[0])) return 0;
    if (light >= table[last]) return 1;
    let low = 0;
    let high = last;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (table[middle] <= light) low = middle;
      else high = middle;
    }
    const step = table[high] - table[low];
    return (low + (step > 0 ? (light - table[low]) / step : 0)) / last;
  }

  /** The full-scale values that the table's own become after `stops` more light. */
  exposed(stops: number): Float32Array {
    const gain = 2 ** stops;
    return this.light.map((light) => this.encode(light * gain));
  }

  /** Light weighted as luminance. */
  luminance(values: Triple): number {
    return values.reduce(
      (sum, value, channel) => sum + this.data.luminance[channel] * this.decode(value),
      0,
    );
  }

  /** A lattice from an ordinary picture (sRGB signal) to this encoding. */
  standIn(): Table {
    const size = STAND_IN_SIZE;
    const values = new Float32Array(3 * size ** 3);
    const light = Array.from({ length: size }, (_, at) => srgbLight(at / (size - 1)));
    let at = 0;
    for (const red of light) {
      for (const green of light) {
        for (const blue of light) {
          for (const row of this.data.from_bt709) {
            values[at] = this.encode(row[0] * red + row[1] * green + row[2] * blue);
            at += 1;
          }
        }
      }
    }
    return { size, low: [0, 0, 0], high: [1, 1, 1], values };
  }
}

/** IEC 61966-2-1. */
function srgbLight(signal: number): number {
  return signal <= 0.04045 ? signal / 12.92 : ((signal + 0.055) / 1.055) ** 2.4;
}

/** Stops from mid grey; minus infinity for no light. */
export function stopsOf(light: number): number {
  return light > 0 ? Math.log2(light / MID_GREY) : -Infinity;
}
