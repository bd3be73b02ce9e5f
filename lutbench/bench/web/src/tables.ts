/** Tables out of the page's data, and what becomes of one colour in them, in float64. */

import type { LutEntry, Packed, PackedTable, Triple } from "./types.ts";

export interface Table {
  size: number;
  low: Triple;
  high: Triple;
  /** Rows of three; a lattice with blue running fastest. */
  values: Float32Array;
}

/** A curve, a lattice, or a curve before a lattice. */
export interface Lut {
  curve: Table | null;
  lattice: Table | null;
}

export function bytesOf(base64: string): Uint8Array<ArrayBuffer> {
  const text = atob(base64);
  const bytes = new Uint8Array(text.length);
  for (let at = 0; at < text.length; at += 1) bytes[at] = text.charCodeAt(at);
  return bytes;
}

export function unpack(packed: Packed): Float32Array {
  const bytes = bytesOf(packed.data);
  const view = new DataView(bytes.buffer);
  if (packed.packing === "f32") {
    return Float32Array.from({ length: bytes.length / 4 }, (_, at) => view.getFloat32(4 * at, true));
  }
  const step = (packed.high - packed.low) / 65535;
  const values = new Float32Array(bytes.length / 2);
  for (let at = 0; at < values.length; at += 1) {
    values[at] = packed.low + step * view.getUint16(2 * at, true);
  }
  return values;
}

export function tableOf(packed: PackedTable): Table {
  const [low, high] = packed.domain;
  return { size: packed.size, low, high, values: unpack(packed.table) };
}

export function lutOf(entry: LutEntry): Lut {
  return {
    curve: entry.curve && tableOf(entry.curve),
    lattice: entry.lattice && tableOf(entry.lattice),
  };
}

function place(table: Table, value: number, channel: number): [number, number] {
  const low = table.low[channel];
  const steps = ((value - low) / (table.high[channel] - low)) * (table.size - 1);
  const held = Math.min(Math.max(steps, 0), table.size - 1);
  const cell = Math.min(Math.floor(held), table.size - 2);
  return [cell, held - cell];
}

function throughCurve(table: Table, rgb: Triple): Triple {
  const one = (channel: number): number => {
    const [cell, part] = place(table, rgb[channel], channel);
    const at = 3 * cell + channel;
    return (1 - part) * table.values[at] + part * table.values[at + 3];
  };
  return [one(0), one(1), one(2)];
}

function throughLattice(table: Table, rgb: Triple): Triple {
  const { size, values } = table;
  const strides = [size * size, size, 1];
  const places = [0, 1, 2].map((channel) => place(table, rgb[channel], channel));
  const order = [0, 1, 2].sort((a, b) => places[b][1] - places[a][1]);
  let node = places.reduce((sum, [cell], axis) => sum + cell * strides[axis], 0);
  let left = 1;
  const out: Triple = [0, 0, 0];
  const add = (weight: number): void => {
    for (let channel = 0; channel < 3; channel += 1) {
      out[channel] += weight * values[3 * node + channel];
    }
  };
  for (const axis of order) {
    const fraction = places[axis][1];
    add(left - fraction);
    left = fraction;
    node += strides[axis];
  }
  add(left);
  return out;
}

/** What a LUT makes of a colour; tetrahedral in a lattice, inputs held to the domain. */
export function applyLut(lut: Lut, rgb: Triple): Triple {
  const shaped = lut.curve ? throughCurve(lut.curve, rgb) : rgb;
  return lut.lattice ? throughLattice(lut.lattice, shaped) : shaped;
}
