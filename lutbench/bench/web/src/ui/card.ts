/** What the chosen LUT is: its summary, its findings, its card of levels. */

import type { Bench, Shelf } from "../bench.ts";
import type { Box, Finding, Level } from "../types.ts";
import { el, section } from "./dom.ts";
import { labelWords, signed, unbroken } from "./words.ts";

export function cardPanel(bench: Bench): HTMLElement {
  const name = el("p", { class: "name" });
  const body = el("div");
  let shown: Shelf | null | undefined;
  let bits = 0;
  bench.onChange(() => {
    const shelf = bench.chosen();
    if (shelf === shown && bits === bench.state.bits) return;
    shown = shelf;
    bits = bench.state.bits;
    name.textContent = shelf ? shelf.title || shelf.name : "As recorded";
    body.replaceChildren(...(shelf ? partsOf(shelf, bits) : recordedParts(bench, bits)));
  });
  return section("This LUT", "card", name, body);
}

function recordedParts(bench: Bench, bits: number): HTMLElement[] {
  const source = bench.source?.data;
  if (!source) return [el("p", { text: "The recording as it is. Its curve is not known." })];
  const words = `${source.curve}, ${source.gamut}, ${source.range} range (${source.told}).`;
  return [el("p", { text: words }), levelTable(source.levels.levels, bits)];
}

function partsOf(shelf: Shelf, bits: number): HTMLElement[] {
  const { entry } = shelf;
  if (!entry) {
    return [el("p", { text: "Opened in this page and not inspected. `lutbench inspect` says what it does." })];
  }
  const { inspection, levels } = entry;
  const parts: HTMLElement[] = [el("p", { text: unbroken(inspection.verdict) })];
  parts.push(boxOf(inspection.box));
  parts.push(findingList(inspection.findings));
  if (levels) parts.push(levelTable(levels.levels, bits));
  const packed = `The table in this page is within ${entry.packing_error.toPrecision(1)} 10-bit codes of the file`;
  const sampled = entry.sampling_error === null ? "" : `; a chain of steps, sampled as a lattice, is within ${entry.sampling_error.toPrecision(2)} codes on the test colours`;
  parts.push(el("p", { class: "note", text: `${packed}${sampled}.` }));
  return parts;
}

/** The answer in short: the rows of the box that `inspect` begins with. */
function boxOf(box: Box): HTMLElement {
  const rows: [string, string][] = [
    ["expects", box.expects],
    ["set the monitor to", box.monitor],
    ["zebra", box.zebra ?? ""],
    ["good for", box.good_for],
    [box.usable ? "not for" : "fault", box.not_for.join("; ")],
    [box.usable ? "not sure" : "cure", box.unsure ?? ""],
  ];
  const filled = rows.filter(([, text]) => text);
  return el("dl", {}, ...filled.flatMap(([name, text]) => [el("dt", { text: name }), el("dd", { text: unbroken(text) })]));
}

function findingList(findings: Finding[]): HTMLElement {
  if (!findings.length) return el("p", { text: "Findings: none." });
  const items = findings.map((each) => {
    const mark = el("strong", { class: `severity ${each.severity}`, text: each.severity });
    return el("li", {}, mark, el("span", { text: ` ${unbroken(each.message)}` }), advice(each));
  });
  return el("ul", { class: "findings" }, ...items);
}

function advice({ advice: text }: Finding): HTMLElement | null {
  return text ? el("span", { class: "note", text: ` ${unbroken(text)}.` }) : null;
}

function levelTable(levels: Level[], bits: number): HTMLElement {
  const after = levels.some((level) => level.after_lut !== null);
  // Percent before and after are side by side, so that both show where the table is cut off.
  const percents = after ? ["%", "LUT %"] : ["%"];
  const codes = [`${bits}b full`, `${bits}b legal`];
  if (after) codes.push("LUT full", "LUT legal");
  const names = ["light", "stops", ...percents, ...codes];
  const head = el("tr", {}, ...names.map((name) => el("th", { text: name, set: { scope: "col" } })));
  const rows = [...levels].reverse().map((level) => {
    const signals = level.after_lut ? [level, level.after_lut] : [level];
    const cells = [
      level.stops === null ? "−∞" : signed(level.stops, 1),
      ...signals.map(({ percent }) => percent.toFixed(1)),
      ...signals.flatMap(({ code }) => [String(code.full[bits]), String(code.legal[bits])]),
    ];
    const title = el("th", { text: labelWords(level.label), set: { scope: "row" } });
    const row = el("tr", {}, title, ...cells.map((text) => el("td", { text })));
    if (/^[+-]/.test(level.label)) row.className = "minor";
    return row;
  });
  const table = el("table", { class: "levels" }, el("thead", {}, head), el("tbody", {}, ...rows));
  return el("div", { class: "scroll", set: { tabindex: "0", role: "region", "aria-label": "Levels" } }, table);
}
