/** How far the picture on this screen can be trusted, and what was measured about it here. */

import type { Bench, Shelf } from "../bench.ts";
import { Engine } from "../gl/engine.ts";
import type { Interpolation } from "../tables.ts";
import { button, el, section } from "./dom.ts";

const CAUTIONS = [
  "A monitoring LUT is for viewing. The delivery specification decides what is delivered.",
  "This screen is not calibrated: trust the figures, not the eye.",
  "The browser shows the codes on its own screen. On a monitor, check the range setting (full or legal) too.",
];

function interpolationWords(shelf: Shelf, by: Interpolation, error: { drawn: number; other: number }): string[] {
  const codes = (255 * error.drawn).toPrecision(1);
  const name = `${by[0].toUpperCase()}${by.slice(1)}`;
  const lines = [`${name} interpolation: this device is within ${codes} 8-bit codes of double precision on 256 test colours.`];
  if (shelf.lut().lattice) {
    const other = by === "trilinear" ? "tetrahedral" : "trilinear";
    lines.push(`A device with ${other} interpolation differs by up to ${(255 * error.other).toPrecision(2)} 8-bit codes on the same colours.`);
  }
  return lines;
}

/** How HDR is shown here, and why. */
function hdrWords(bench: Bench): string {
  if (!bench.highRange) return "HDR is shown tone-mapped: the browser reports a standard-range screen.";
  if (!bench.hdr) return "HDR is shown tone-mapped: this browser cannot draw brighter than white.";
  return "HDR can be shown as HDR here, with 203 cd/m² at the page's white. The browser does not report how bright that is, or where the screen clips.";
}

export function trustPanel(bench: Bench): HTMLElement {
  const facts = el("ul");
  const notes = el("ul");
  const print = button("Print this view", () => { window.print(); }, { class: "wide" });
  let error: { of: string; drawn: number; other: number } | null = null;

  bench.onChange(() => {
    const shelf = bench.chosen();
    const by = bench.state.interpolation;
    const of = `${by} ${shelf?.name ?? ""}`;
    if (shelf && error?.of !== of) {
      error = { of, ...bench.engine.luts.largestErrors(shelf.lut(), bench.engine.format, by) };
    }
    const lines = [hdrWords(bench)];
    if (shelf && error) lines.push(...interpolationWords(shelf, by, error));
    const off = shelf?.entry?.sampling_error ?? 0;
    if (off >= 1) lines.push(`This LUT is a chain of steps that the page samples: up to ${off.toFixed(0)} 10-bit codes off on the test colours, most where the chain clips.`);
    lines.push(`This view reads ${Engine.reads(bench.scene())} texels for each pixel of the picture.`);
    const time = bench.engine.clock.last;
    const size = `${bench.engine.width} × ${bench.engine.height}`;
    if (time !== null) lines.push(`The GPU took ${time.toPrecision(2)} ms for the last timed frame (${size}).`);
    if (!bench.engine.scopes.exact) lines.push("This device counts in half floats: the scopes are exact up to 2048 pixels at one level.");
    facts.replaceChildren(...lines.map((text) => el("li", { text })));
    notes.replaceChildren(...bench.data.notes.map((text) => el("li", { text })));
    notes.hidden = !bench.data.notes.length;
  });
  const cautions = el("ul", {}, ...CAUTIONS.map((text) => el("li", { text })));
  const by = el("p", { class: "note", text: `Written by lutbench ${bench.data.version}. Nothing here leaves this page.` });
  return section("Trust", "trust", cautions, facts, notes, print, by);
}
