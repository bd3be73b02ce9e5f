/** The data that Python writes into the page: see lutbench/bench/contents.py. */

export type Triple = [number, number, number];
export type SignalRange = "full" | "legal";

/** Numbers as base64: 16-bit steps from `low` to `high`, or little-endian float32. */
export interface Packed {
  packing: "u16" | "f32";
  low: number;
  high: number;
  data: string;
}

/** A curve (rows of R G B) or a lattice (indexed r, g, b, channel), and the inputs of its ends. */
export interface PackedTable {
  size: number;
  domain: [Triple, Triple];
  table: Packed;
}

export interface Finding {
  code: string;
  severity: "info" | "warning" | "error";
  message: string;
  seen?: string;
  advice?: string;
}

/** What to set, to read and to expect with a LUT. */
export interface Box {
  usable: boolean;
  expects: string;
  monitor: string;
  zebra: string | null;
  good_for: string;
  not_for: string[];
  unsure: string | null;
}

/** The result object of `inspect`, as far as the page reads it. */
export interface Inspection {
  kind: string;
  verdict: string;
  box: Box;
  findings: Finding[];
  notes: string[];
}

export interface CodeTable {
  full: Record<string, number>;
  legal: Record<string, number>;
}

export interface Reading {
  signal: number;
  percent: number;
  code: CodeTable;
}

export interface Level extends Reading {
  label: string;
  reflectance: number | null;
  stops: number | null;
  clipped: string | null;
  after_lut: (Reading & { rgb: Triple }) | null;
}

/** The result object of `levels`, as far as the page reads it. */
export interface Levels {
  curve: string;
  levels: Level[];
}

export interface Source {
  curve: string;
  gamut: string;
  range: SignalRange;
  /** The signals of the lowest and highest code that the curve is published for. */
  ends: [number, number];
  told: string;
  /** Light of evenly spaced full-scale values 0..1. */
  light: { size: number; table: Packed };
  luminance: Triple;
  /** From linear BT.709 light to the source's gamut, by rows. */
  from_bt709: Triple[];
  levels: Levels;
}

export interface LutEntry {
  name: string;
  title: string;
  type: string;
  source: number | null;
  source_range: SignalRange;
  target: { curve: string; gamut: string } | null;
  target_range: SignalRange;
  /** Which LUTs differ in exposure only, and by how many stops this one is brighter. */
  ladder: number | null;
  exposure: number;
  curve: PackedTable | null;
  lattice: PackedTable | null;
  /** The limits that its values are clamped to. */
  held: [number, number] | null;
  /** Largest errors of packing and of sampling, in 10-bit codes. */
  packing_error: number;
  sampling_error: number | null;
  view: string | null;
  inspection: Inspection;
  levels: Levels | null;
}

export interface View {
  label: string;
  lattice: PackedTable;
  light: ViewLight;
}

/**
 * The light of an HDR display, for a canvas that can show values brighter than white: each
 * channel through `table`, times the luminance to the `power`, through `matrix` (rows) to BT.709;
 * 1.0 is white.
 */
export interface ViewLight {
  label: string;
  table: Packed;
  weights: Triple;
  power: number;
  matrix: Triple[];
}

export interface Band {
  low: number | null;
  high: number | null;
  colour: string;
  label: string;
  /** Also shown wherever a channel is at the highest code. */
  clips: boolean;
}

export interface FalseColour {
  name: string;
  bands: Band[];
  exposure: number;
  /** The full-scale value of the highest code that is recorded. */
  clips_from: number;
  /** The grey that is shown outside the bands, over stops from `from` to `to`. */
  grey: { from: number; to: number; size: number; table: Packed };
}

export interface StillEntry {
  name: string;
  note: string;
  png: string;
}

export interface BenchData {
  schema: number;
  version: string;
  title: string;
  sources: Source[];
  luts: LutEntry[];
  views: Record<string, View>;
  false_colour: FalseColour | null;
  stills: StillEntry[];
  notes: string[];
  /** The addresses of data and changes if the page is served. */
  live: { data: string; events: string; version: number } | null;
}
