/** What is shown, and its copy in the address: a link restores the same view. */

import { LOOKS, type Look } from "./gl/engine.ts";
import { SCOPES, type Scope } from "./gl/scopes.ts";
import { INTERPOLATIONS, type Interpolation } from "./tables.ts";

export const ZEBRAS = ["off", "recording", "view"] as const;
export type Zebra = (typeof ZEBRAS)[number];

/** Which of two pictures the scopes measure. */
export const SIDES = ["first", "second"] as const;
export type Side = (typeof SIDES)[number];

export const MOST_STOPS = 8;
export const GAINS = [1, 4, 16, 64] as const;
export const ENLARGEMENTS = [1, 2, 4, 8] as const;

export interface State {
  still: string;
  /** Names of LUTs; empty is the recording as it is. */
  lut: string;
  against: string;
  look: Look;
  wipe: number;
  gain: number;
  interpolation: Interpolation;
  /** Whether HDR is shown as HDR if the screen can. */
  hdr: boolean;
  stops: number;
  ladder: boolean;
  bands: boolean;
  zebra: Zebra;
  zebraAt: number;
  scopes: Scope[];
  measured: Side;
  bits: number;
  enlarge: number;
  /** The pixel that is probed; −1 is none. */
  x: number;
  y: number;
}

export const START: Readonly<State> = {
  still: "",
  lut: "",
  against: "",
  look: "one",
  wipe: 0.5,
  gain: 4,
  interpolation: "tetrahedral",
  hdr: true,
  stops: 0,
  ladder: false,
  bands: false,
  zebra: "off",
  zebraAt: 70,
  scopes: ["waveform"],
  measured: "first",
  bits: 10,
  enlarge: 1,
  x: -1,
  y: -1,
};

/** The state as a fragment, without what is unchanged since the start. */
export function fragmentOf(state: State, start: State): string {
  const words = new URLSearchParams();
  for (const key of Object.keys(start) as (keyof State)[]) {
    const [value, usual] = [String(state[key]), String(start[key])];
    if (value !== usual) words.set(key, value);
  }
  return words.toString();
}

/** The state in a fragment; invalid values stay as at the start. */
export function stateOf(fragment: string, start: State, stills: string[], luts: string[]): State {
  const words = new URLSearchParams(fragment.replace(/^#/, ""));
  const one = <T extends string>(key: keyof State, known: readonly T[], usual: T): T =>
    known.find((each) => each === words.get(key)) ?? usual;
  const number = (key: keyof State, low: number, high: number): number => {
    const text = words.get(key);
    const value = text ? Number(text) : NaN;
    return value >= low && value <= high ? value : (start[key] as number);
  };
  const choice = (key: keyof State, known: readonly number[]): number => {
    const value = Number(words.get(key) ?? NaN);
    return known.includes(value) ? value : (start[key] as number);
  };
  const flag = (key: keyof State): boolean =>
    words.has(key) ? words.get(key) === "true" : (start[key] as boolean);
  const scopes = words.get("scopes")?.split(",");
  return {
    still: one("still", stills, start.still),
    lut: one("lut", ["", ...luts], start.lut),
    against: one("against", ["", ...luts], start.against),
    look: one("look", LOOKS, start.look),
    wipe: number("wipe", 0, 1),
    gain: choice("gain", GAINS),
    interpolation: one("interpolation", INTERPOLATIONS, start.interpolation),
    hdr: flag("hdr"),
    stops: number("stops", -MOST_STOPS, MOST_STOPS),
    ladder: flag("ladder"),
    bands: flag("bands"),
    zebra: one("zebra", ZEBRAS, start.zebra),
    zebraAt: number("zebraAt", 0, 109),
    scopes: scopes ? SCOPES.filter((each) => scopes.includes(each)) : start.scopes,
    measured: one("measured", SIDES, start.measured),
    bits: choice("bits", [8, 10]),
    enlarge: choice("enlarge", ENLARGEMENTS),
    x: Math.round(number("x", -1, 65535)),
    y: Math.round(number("y", -1, 65535)),
  };
}
