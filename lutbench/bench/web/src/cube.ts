/** The `.cube` text format, with the limits and messages of lutbench/formats/cube.py. */

import { BenchError } from "./errors.ts";
import type { Lut, Table } from "./tables.ts";
import type { Triple } from "./types.ts";

export const MAX_BYTES = 512 * 1024 * 1024;
const MAX_LINE = 4096;
const MAX_IDLE_LINES = 100_000;
const LARGEST = 3.4028235e38;
const SHORTEST_ROW = "0 0 0\n".length;
const SIZES: Record<string, [number, number]> = { LUT_1D_SIZE: [2, 65536], LUT_3D_SIZE: [2, 256] };
const NUMBER_COUNTS: Record<string, number> = {
  LUT_1D_INPUT_RANGE: 2,
  LUT_3D_INPUT_RANGE: 2,
  DOMAIN_MIN: 3,
  DOMAIN_MAX: 3,
};
const KEYWORDS = ["TITLE", ...Object.keys(SIZES), ...Object.keys(NUMBER_COUNTS)];
const NUMBER = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$/;
const SPACE = /[ \t\n\r\v\f]+/;
const BOM = [0xef, 0xbb, 0xbf];
const LF = 10;
const CR = 13;

export interface CubeFile {
  lut: Lut;
  title: string;
}

interface Setting {
  line: number;
  numbers: number[];
}

interface Line {
  number: number;
  /** Its offset in bytes. */
  at: number;
  /** Without the space at both ends, as Latin-1. */
  text: string;
}

/** The LUT in the bytes of a `.cube` file; `where` names the file in errors. */
export function parseCube(data: Uint8Array, where: string): CubeFile {
  if (data.length > MAX_BYTES) {
    const limit = `up to ${MAX_BYTES} bytes`;
    throw new BenchError(`is too large (${data.length} bytes)`, where, limit);
  }
  return new Reader(where, plainText(data, where)).read();
}

/** The bytes with LF line ends and without a byte order mark. */
function plainText(data: Uint8Array, where: string): Uint8Array {
  const wide = (a: number, b: number): boolean => data[0] === a && data[1] === b;
  if (wide(0xff, 0xfe) || wide(0xfe, 0xff)) {
    throw new BenchError("the text is UTF-16", where, "ASCII or UTF-8 text");
  }
  let start = BOM.every((byte, at) => data[at] === byte) ? BOM.length : 0;
  const text = new Uint8Array(data.length - start + 1);
  let length = 0;
  let blank = true;
  let line = 1;
  for (; start < data.length; start += 1) {
    let byte = data[start];
    if (byte === 0) {
      const what = "a null byte: this is no text";
      throw new BenchError(what, `${where}:${line}`, "a .cube LUT, ASCII or UTF-8");
    }
    if (byte === LF) line += 1;
    if (byte === CR) {
      if (data[start + 1] === LF) continue;
      byte = LF;
    }
    blank &&= byte === 32 || (byte >= 9 && byte <= 13);
    text[length] = byte;
    length += 1;
  }
  if (blank) throw new BenchError("the file is empty", where, "a .cube LUT");
  if (text[length - 1] !== LF) {
    text[length] = LF;
    length += 1;
  }
  return text.subarray(0, length);
}

class Reader {
  private title = "";
  private readonly settings = new Map<string, Setting>();
  private idle = 0;
  private idleLimit = MAX_IDLE_LINES;

  constructor(
    private readonly where: string,
    private readonly text: Uint8Array,
  ) {}

  read(): CubeFile {
    const lines = this.lines();
    const first = this.head(lines);
    const [rows, nodes] = this.sizes();
    const domains = this.domains(rows, nodes);
    const values = this.rows(first, lines, rows + nodes ** 3);
    const curve = rows ? tableOf(rows, domains.curve, values.slice(0, 3 * rows)) : null;
    const lattice = nodes ? latticeOf(nodes, domains.lattice, values.subarray(3 * rows)) : null;
    return { lut: { curve, lattice }, title: this.title };
  }

  /** The lines that are neither blank nor a comment. */
  private *lines(): Generator<Line, undefined> {
    let at = 0;
    for (let number = 1; at < this.text.length; number += 1) {
      const end = this.text.indexOf(LF, at);
      if (end - at > MAX_LINE) this.fail(number, "the line is too long", `up to ${MAX_LINE} bytes a line`);
      const text = strip(latin(this.text.subarray(at, end)));
      if (text && !text.startsWith("#")) yield { number, at, text };
      else this.idleLine(number);
      at = end + 1;
    }
    return undefined;
  }

  private idleLine(line: number): void {
    this.idle += 1;
    if (this.idle > this.idleLimit) {
      this.fail(line, "too many comments and blank lines", `up to ${this.idleLimit}`);
    }
  }

  private head(lines: Iterator<Line, undefined>): Line {
    for (let next = lines.next(); !next.done; next = lines.next()) {
      if ("+-.0123456789".includes(next.value.text[0])) return next.value;
      this.keyword(next.value);
    }
    this.sizes();
    return this.fail(0, "the file has no rows", "a row of three numbers for each entry");
  }

  private keyword({ number, text }: Line): void {
    const word = text.split(SPACE, 1)[0];
    const argument = strip(text.slice(word.length));
    const keyword = upper(word);
    if (keyword === "TITLE" || keyword.startsWith('TITLE"')) this.takeTitle(text.slice(5));
    else if (keyword in SIZES) this.setting(number, keyword, [this.size(number, keyword, argument)]);
    else if (keyword in NUMBER_COUNTS) {
      this.setting(number, keyword, this.numbers(number, keyword, argument));
    } else if (["NAN", "INF", "INFINITY"].includes(keyword)) this.badRow(number, text);
    else if (!/^[A-Za-z_][A-Za-z0-9_]*$/.test(word)) {
      const accepted = `${KEYWORDS.join(", ")}, a comment with #, or three numbers`;
      this.fail(number, `${shown(text)} is neither keyword nor numbers`, accepted);
    }
  }

  private takeTitle(raw: string): void {
    if (this.title) return;
    const bytes = Uint8Array.from(raw, (character) => character.charCodeAt(0));
    let text: string;
    try {
      text = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(bytes);
    } catch {
      text = raw;
    }
    // eslint-disable-next-line no-control-regex
    text = text.replace(/[\x00-\x1f\x7f-\x9f\u2028\u2029]/g, " ").trim();
    this.title = text.replace(/^"/, "").replace(/"$/, "");
  }

  private size(line: number, keyword: string, argument: string): number {
    const [low, high] = SIZES[keyword];
    const size = /^\d{1,9}$/.test(argument) ? Number(argument) : -1;
    if (size < low || size > high) {
      this.fail(line, `${keyword} ${shown(argument)} is not a size`, `${low} to ${high}`);
    }
    return size;
  }

  private numbers(line: number, keyword: string, argument: string): number[] {
    const count = NUMBER_COUNTS[keyword];
    const values = words(argument).map(numberOf);
    if (values.length !== count || values.some((value) => value === null)) {
      this.fail(line, `${keyword} ${shown(argument)}`, `${count} finite numbers`);
    }
    return values as number[];
  }

  private setting(line: number, keyword: string, numbers: number[]): void {
    const before = this.settings.get(keyword);
    if (before?.numbers.some((value, at) => value !== numbers[at])) {
      this.fail(line, `${keyword} again, and not as on line ${before.line}`, "it once");
    }
    this.settings.set(keyword, { line, numbers });
  }

  /** The rows of the curve and the nodes an edge of the lattice, 0 where there is none. */
  private sizes(): [number, number] {
    const rows = this.settings.get("LUT_1D_SIZE")?.numbers[0] ?? 0;
    const nodes = this.settings.get("LUT_3D_SIZE")?.numbers[0] ?? 0;
    if (!rows && !nodes) {
      const what = "no LUT_1D_SIZE and no LUT_3D_SIZE before the rows";
      throw new BenchError(what, this.where, "a .cube LUT");
    }
    return [rows, nodes];
  }

  private domains(rows: number, nodes: number): Record<"curve" | "lattice", [Triple, Triple]> {
    const ends = ["DOMAIN_MIN", "DOMAIN_MAX"].map((keyword) => this.settings.get(keyword));
    const whole: [Triple, Triple] = [
      (ends[0]?.numbers ?? [0, 0, 0]) as Triple,
      (ends[1]?.numbers ?? [1, 1, 1]) as Triple,
    ];
    this.checkDomain(whole, ends);
    const domains: Record<"curve" | "lattice", [Triple, Triple]> = { curve: unit(), lattice: unit() };
    // DOMAIN_MIN and DOMAIN_MAX apply to the input of the whole LUT.
    domains[rows ? "curve" : "lattice"] = whole;
    for (const [part, size, keyword] of [
      ["curve", rows, "LUT_1D_INPUT_RANGE"],
      ["lattice", nodes, "LUT_3D_INPUT_RANGE"],
    ] as const) {
      const range = this.settings.get(keyword);
      if (!range || !size) continue;
      const [low, high] = range.numbers;
      const domain: [Triple, Triple] = [[low, low, low], [high, high, high]];
      this.checkDomain(domain, [range]);
      const same = domain.flat().every((value, at) => value === whole.flat()[at]);
      if (part === (rows ? "curve" : "lattice") && (ends[0] ?? ends[1]) && !same) {
        this.fail(range.line, `${keyword} and DOMAIN_MIN, DOMAIN_MAX differ`, "one of them");
      }
      domains[part] = domain;
    }
    return domains;
  }

  private checkDomain([low, high]: [Triple, Triple], from: (Setting | undefined)[]): void {
    if (low.every((value, channel) => value < high[channel])) return;
    const line = Math.max(...from.map((each) => each?.line ?? 0));
    const what = `the domain runs from [${low.join(", ")}] to [${high.join(", ")}]`;
    this.fail(line, what, "the minimum under the maximum");
  }

  private rows(first: Line, lines: Generator<Line, undefined>, count: number): Float32Array {
    const rest = this.text.length - first.at;
    if (rest < count * SHORTEST_ROW) this.tooFew(this.lineFeeds(first.at), count, "at most ");
    this.idleLimit = MAX_IDLE_LINES + count;
    const values = new Float32Array(3 * count);
    let done = 0;
    for (let line: Line | undefined = first; line; line = lines.next().value) {
      const row = words(line.text).map(numberOf);
      if (row.length !== 3 || row.some((value) => value === null)) this.badRow(line.number, line.text);
      if (done === count) {
        this.fail(line.number, `a row too many for ${this.declared()}`, `${count} rows`);
      }
      values.set(row as number[], 3 * done);
      done += 1;
    }
    if (done < count) this.tooFew(done, count, "");
    return values;
  }

  private lineFeeds(from: number): number {
    let found = 0;
    for (let at = from; at < this.text.length; at += 1) found += this.text[at] === LF ? 1 : 0;
    return found;
  }

  private badRow(line: number, text: string): never {
    const word = words(text)[0];
    if (KEYWORDS.includes(upper(word))) {
      this.fail(line, `${shown(word)} after the first row`, "keywords before the rows");
    }
    if (/\d,\d/.test(text)) this.fail(line, `${shown(text)} has decimal commas`, "decimal points");
    const what = /nan|inf/i.test(text) ? "is not finite" : "is not a row";
    return this.fail(line, `${shown(text)} ${what}`, "three finite numbers");
  }

  private tooFew(found: number, count: number, most: string): never {
    const rows = `${most}${found} ${found === 1 ? "row" : "rows"}`;
    return this.fail(0, `${rows}, too few for ${this.declared()}`, `${count} rows`);
  }

  private declared(): string {
    return Object.keys(SIZES)
      .flatMap((keyword) => {
        const setting = this.settings.get(keyword);
        return setting ? [`${keyword} ${setting.numbers[0]}`] : [];
      })
      .join(" and ");
  }

  private fail(line: number, what: string, accepted: string): never {
    throw new BenchError(what, line ? `${this.where}:${line}` : this.where, accepted);
  }
}

/** One character per byte. TextDecoder's "latin1" is another code page. */
function latin(bytes: Uint8Array): string {
  return String.fromCharCode(...bytes);
}

function unit(): [Triple, Triple] {
  return [[0, 0, 0], [1, 1, 1]];
}

function tableOf(size: number, [low, high]: [Triple, Triple], values: Float32Array): Table {
  return { size, low, high, values };
}

/** Rows with red fastest to a lattice with blue fastest. */
function latticeOf(size: number, domain: [Triple, Triple], rows: Float32Array): Table {
  const values = new Float32Array(rows.length);
  let row = 0;
  for (let blue = 0; blue < size; blue += 1) {
    for (let green = 0; green < size; green += 1) {
      for (let red = 0; red < size; red += 1, row += 3) {
        values.set(rows.subarray(row, row + 3), 3 * ((red * size + green) * size + blue));
      }
    }
  }
  return tableOf(size, domain, values);
}

function numberOf(token: string): number | null {
  if (!NUMBER.test(token)) return null;
  const value = Number(token);
  return Math.abs(value) <= LARGEST ? value : null;
}

function words(text: string): string[] {
  return strip(text).split(SPACE).filter(Boolean);
}

/** Without ASCII white space at both ends; `trim` would remove more. */
function strip(text: string): string {
  return text.replace(/^[ \t\n\r\v\f]+|[ \t\n\r\v\f]+$/g, "");
}

/** ASCII letters in upper case. */
function upper(text: string): string {
  return text.replace(/[a-z]/g, (letter) => letter.toUpperCase());
}

function shown(text: string): string {
  return `'${text.length > 60 ? `${text.slice(0, 60)}…` : text}'`;
}
