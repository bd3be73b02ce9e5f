/** The figures of one pixel: recorded, after the LUT, in light. */

import type { Bench, Probe } from "../bench.ts";
import { ENLARGEMENTS } from "../state.ts";
import type { Reading } from "../types.ts";
import { Choice, el, retext, section } from "./dom.ts";
import { labelWords, signed, stopsWords } from "./words.ts";

type Row = [string, (reading: Reading, bits: number) => string];

const ROWS: Row[] = [
  ["percent", (reading) => reading.percent.toFixed(1)],
  ["code, full", (reading, bits) => String(reading.code.full[bits])],
  ["code, legal", (reading, bits) => String(reading.code.legal[bits])],
];

export class MeasurePanel {
  readonly element: HTMLElement;
  private readonly cells: HTMLElement[] = [];
  private readonly where = el("p", { class: "where" });
  private readonly light = el("p", { class: "light" });
  private readonly bits: Choice<string>;
  private readonly enlarge: Choice<string>;
  private readonly spoken = el("p", { class: "unseen", set: { role: "status" } });

  constructor(
    private readonly bench: Bench,
    scopes: HTMLElement,
  ) {
    this.bits = new Choice("Bit depth of the codes", [["8", "8 bit"], ["10", "10 bit"]], (value) => {
      bench.set({ bits: Number(value) });
    });
    const enlargements = ENLARGEMENTS.map((times): [string, string] => [String(times), `× ${times}`]);
    this.enlarge = new Choice("Enlarge around the point", enlargements, (value) => {
      bench.set({ enlarge: Number(value) });
    });
    this.element = section(
      "Measure", "measure",
      this.where, this.light, this.table(), this.spoken, this.bits.element, this.enlarge.element, scopes,
    );
    bench.onChange(() => {
      this.bits.show(String(bench.state.bits));
      this.enlarge.show(String(bench.state.enlarge));
    });
  }

  private table(): HTMLElement {
    const head = el("tr", {}, el("th", { text: "", set: { scope: "col" } }));
    head.firstElementChild?.append(el("span", { class: "unseen", text: "figure" }));
    for (const name of ["R", "G", "B"]) head.append(el("th", { text: name, set: { scope: "col" } }));
    const body: HTMLElement[] = [];
    for (const part of ["recorded", "after the LUT"]) {
      const title = el("th", { text: part, set: { scope: "rowgroup", colspan: "4" } });
      const rows = ROWS.map(([name]) => {
        const cells = [0, 1, 2].map(() => el("td", { text: "–" }));
        this.cells.push(...cells);
        return el("tr", {}, el("th", { text: name, set: { scope: "row" } }), ...cells);
      });
      body.push(el("tbody", {}, el("tr", { class: "part" }, title), ...rows));
    }
    return el("table", { class: "figures" }, el("thead", {}, head), ...body);
  }

  /** Show a pixel; with `aloud` a screen reader announces it. */
  show(probe: Probe | null, aloud: boolean): void {
    const { bits } = this.bench.state;
    const readings = probe ? [...probe.recorded, ...probe.after] : [];
    this.cells.forEach((cell, index) => {
      const part = Math.floor(index / 9);
      const row = Math.floor((index % 9) / 3);
      const reading = probe ? readings[3 * part + (index % 3)] : null;
      retext(cell, reading ? ROWS[row][1](reading, bits) : "–");
    });
    this.element.classList.toggle("unpointed", !probe);
    retext(this.where, probe ? `Point ${probe.x}, ${probe.y}` : "Point at the picture, or tap it.");
    retext(this.light, probe ? lightWords(probe) : "\u00a0");
    if (aloud && probe) retext(this.spoken, spokenWords(probe));
  }
}

export function lightWords({ stops, nearest }: Probe): string {
  if (stops === null) return "No stops: the curve of the recording is not known.";
  if (!nearest) return `${stopsWords(stops)} from grey`;
  const name = labelWords(nearest.level.label);
  const away = Math.abs(nearest.away) < 0.05 ? "at" : `${signed(nearest.away, 1)} from`;
  return `${stopsWords(stops)} from grey, ${away} ${name}`;
}

function spokenWords(probe: Probe): string {
  const percents = (readings: Reading[]): string =>
    readings.map((reading) => reading.percent.toFixed(0)).join(", ");
  const recorded = `recorded ${percents(probe.recorded)} percent`;
  return `${recorded}; after the LUT ${percents(probe.after)} percent; ${lightWords(probe)}`;
}

