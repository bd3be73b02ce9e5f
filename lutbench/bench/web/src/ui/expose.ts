/** Exposure in stops, the ladder, false colour with its legend, zebra. */

import type { Bench } from "../bench.ts";
import { MOST_STOPS, type Zebra } from "../state.ts";
import type { Band } from "../types.ts";
import { button, Choice, el, section, Slider, Tick } from "./dom.ts";
import { signed, stopsWords, unbroken } from "./words.ts";

const ZEBRA_WORDS: [Zebra, string][] = [
  ["off", "Off"],
  ["recording", "Recording"],
  ["view", "After the LUT"],
];

export function exposePanel(bench: Bench): HTMLElement {
  const stops = new Slider(
    "Exposure",
    { low: -MOST_STOPS, high: MOST_STOPS, step: 0.1 },
    (value) => stopsWords(value),
    (value) => { bench.set({ stops: value }); },
  );
  const steps = el("div", { class: "row" });
  for (const by of [-1, -1 / 3, 0, 1 / 3, 1]) {
    const text = by === 0 ? "0" : `${by > 0 ? "+" : "−"}${Math.abs(by) === 1 ? "1" : "⅓"}`;
    const label = by === 0 ? "0: as recorded" : `${text} stop`;
    steps.append(button(text, () => { move(by); }, { "aria-label": label, class: "square" }));
  }
  const move = (by: number): void => {
    const next = by === 0 ? 0 : bench.state.stops + by;
    bench.set({ stops: Math.min(Math.max(Math.round(next * 1000) / 1000, -MOST_STOPS), MOST_STOPS) });
  };
  const why = el("p", { class: "note" });
  const ladder = new Tick("Compensate with the exposure ladder", (on) => { bench.set({ ladder: on }); });
  const rung = el("p", { class: "note" });
  const bands = new Tick("False colour", (on) => { bench.set({ bands: on }); });
  const legend = el("ul", { class: "legend", set: { "aria-label": "Legend of the false colour" } });
  const zebra = new Choice("Zebra", ZEBRA_WORDS, (value) => { bench.set({ zebra: value }); });
  const zebraAt = new Slider(
    "Zebra from",
    { low: 0, high: 100, step: 1 },
    (value) => `${value} %`,
    (value) => { bench.set({ zebraAt: value }); },
  );
  const zebraNote = el("p", { class: "note", text: "In percent of luma. Stripes mark this level and everything above it." });

  bench.onChange(() => {
    const { state, source, data } = bench;
    stops.show(state.stops, source !== null);
    for (const each of steps.querySelectorAll("button")) each.disabled = source === null;
    why.textContent = source
      ? `Exposure acts on light, through ${source.data.curve}. What was clipped in the recording stays clipped.`
      : "The curve of the recording is not known. Write the bench with --source-curve to change the exposure.";
    const rungs = bench.rungs(bench.shelf(state.lut));
    ladder.show(state.ladder && rungs.length > 1, rungs.length > 1);
    ladder.element.hidden = rungs.length < 2;
    const used = bench.chosen();
    rung.hidden = !state.ladder || rungs.length < 2;
    rung.textContent = `Looking through ${used?.name ?? ""}: ${signed(used?.entry?.exposure ?? 0, 1)} stops.`;
    const able = source !== null && data.false_colour !== null;
    bands.show(state.bands && able, able);
    legend.hidden = !state.bands || !able;
    if (!legend.hidden && !legend.childElementCount) legend.append(...(data.false_colour?.bands ?? []).map(entryOf));
    zebra.show(state.zebra);
    zebraAt.show(state.zebraAt);
    zebraAt.element.hidden = state.zebra === "off";
    zebraNote.hidden = state.zebra === "off";
  });
  return section(
    "Expose", "expose",
    stops.element, steps, why, ladder.element, rung,
    bands.element, legend, zebra.element, zebraAt.element, zebraNote,
  );
}

function entryOf(band: Band): HTMLElement {
  const swatch = el("span", { class: "swatch" });
  swatch.style.setProperty("background-color", band.colour);
  const ends = [
    band.low === null ? "" : signed(band.low, 1),
    band.high === null ? "" : signed(band.high, 1),
  ];
  const range = !ends[0] ? `under ${ends[1]}` : !ends[1] ? `from ${ends[0]}` : `${ends[0]} to ${ends[1]}`;
  return el("li", {}, swatch, el("span", { text: unbroken(band.label || "band") }), el("span", { class: "faint", text: unbroken(`${range} stops`) }));
}
