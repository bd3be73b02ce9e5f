/** Signal ranges, codes and percent: the page's copy of lutbench/model/signal.py. */

import type { CodeTable, Reading, SignalRange } from "./types.ts";

export const BIT_DEPTHS = [8, 10, 12] as const;

/** The bit depth at which the legal range is defined. */
const RANGE_BITS = 10;

/** The code values of signal 0 and signal 1. */
export function rangeOf(bits: number, range: SignalRange): [number, number] {
  const unit = 2 ** (bits - 8);
  return range === "full" ? [0, 2 ** bits - 1] : [16 * unit, 235 * unit];
}

/** The full-scale values of signal 0 and signal 1. */
export function endsOf(range: SignalRange): [number, number] {
  const peak = 2 ** RANGE_BITS - 1;
  const [low, high] = rangeOf(RANGE_BITS, range);
  return [low / peak, high / peak];
}

/** Signal of a full-scale value. */
export function signalFromValue(value: number, range: SignalRange): number {
  const [low, high] = endsOf(range);
  return (value - low) / (high - low);
}

/** Full-scale value of a signal. */
export function valueFromSignal(signal: number, range: SignalRange): number {
  const [low, high] = endsOf(range);
  return low + signal * (high - low);
}

function held(value: number, low: number, high: number): number {
  return Math.min(Math.max(value, low), high);
}

/** The code value of a signal, clamped to the bit depth and rounded. */
export function codeOf(signal: number, bits: number, range: SignalRange): number {
  const [low, high] = rangeOf(bits, range);
  return Math.floor(held(low + signal * (high - low), 0, 2 ** bits - 1) + 0.5);
}

/** A nominal signal as instruments show it; `ends` are its lowest and highest recordable signal. */
export function readingOf(signal: number, ends: [number, number] = [0, 1]): Reading {
  const recorded = held(signal, ends[0], ends[1]);
  const code: CodeTable = { full: {}, legal: {} };
  for (const bits of BIT_DEPTHS) {
    code.full[bits] = codeOf(recorded, bits, "full");
    code.legal[bits] = codeOf(recorded, bits, "legal");
  }
  return { signal, percent: 100 * recorded, code };
}
