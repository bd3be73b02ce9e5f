/** Tables from the page's data, and the result of one colour in them, in float64. */

import type { LutEntry, Packed, PackedTable, Triple } from "./types.ts";

export interface Table {
  size: number;
  low: Triple;
  high: Triple;
  /** Rows of three; a lattice with blue running fastest. */
  values: Float32Array;
}

/** A curve, a lattice, or a curve before a lattice; its values may be clamped. */
export interface Lut {
  curve: Table | null;
  lattice: Table | null;
  held?: [number, number] | null;
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
    held: entry.held,
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

export const INTERPOLATIONS = ["tetrahedral", "trilinear"] as const;
export type Interpolation = (typeof INTERPOLATIONS)[number];

function trilinear(table: Table, rgb: Triple): Triple {
  const { size, values } = table;
  const [red, green, blue] = [0, 1, 2].map((channel) => place(table, rgb[channel], channel));
  const out: Triple = [0, 0, 0];
  for (let corner = 0; corner < 8; corner += 1) {
    let weight = 1;
    const node = [red, green, blue].reduce((sum, [cell, part], axis) => {
      const end = (corner >> axis) & 1;
      weight *= end ? part : 1 - part;
      return sum * size + cell + end;
    }, 0);
    for (let channel = 0; channel < 3; channel += 1) out[channel] += weight * values[3 * node + channel];
  }
  return out;
}

function tetrahedral(table: Table, rgb: Triple): Triple {
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

/** A colour through a LUT; inputs are clamped to the domain. */
export function applyLut(lut: Lut, rgb: Triple, interpolation: Interpolation): Triple {
  let value = lut.curve ? throughCurve(lut.curve, rgb) : rgb;
  if (lut.lattice) value = (interpolation === "trilinear" ? trilinear : tetrahedral)(lut.lattice, value);
  if (!lut.held) return value;
  const [low, high] = lut.held;
  return value.map((each) => Math.min(Math.max(each, low), high)) as Triple;
}
