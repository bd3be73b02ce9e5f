/** What the picture on this screen is worth, and what was measured about it here. */

import type { Bench } from "../bench.ts";
import { Engine } from "../gl/engine.ts";
import { button, el, section } from "./dom.ts";

const CAUTIONS = [
  "A monitoring LUT is for viewing. The delivery specification decides what is delivered.",
  "This screen is not calibrated: trust the figures, not the eye.",
  "The browser takes the codes for its own screen; a monitor's own range setting is a thing apart.",
];

export function trustPanel(bench: Bench): HTMLElement {
  const facts = el("ul");
  const notes = el("ul");
  const print = button("Print this view", () => { window.print(); }, { class: "wide" });
  let error: { of: string; worst: number } | null = null;

  bench.onChange(() => {
    const shelf = bench.chosen();
    if (shelf && error?.of !== shelf.name) {
      error = { of: shelf.name, worst: bench.engine.luts.largestError(shelf.lut(), bench.engine.format) };
    }
    const lines: string[] = [];
    if (shelf && error) {
      const codes = (255 * error.worst).toPrecision(1);
      lines.push(`Tetrahedral interpolation, drawn by this device within ${codes} of an 8-bit code of the same in double precision (256 colours tried now).`);
    }
    lines.push(`This view reads ${Engine.reads(bench.scene())} texels for a pixel of the picture.`);
    const time = bench.engine.clock.last;
    const size = `${bench.engine.width} × ${bench.engine.height}`;
    if (time !== null) lines.push(`The last frame timed (${size}) took the GPU ${time.toPrecision(2)} ms.`);
    if (!bench.engine.scopes.exact) lines.push("This device counts in half floats: the scopes are exact up to 2048 pixels on one level.");
    facts.replaceChildren(...lines.map((text) => el("li", { text })));
    notes.replaceChildren(...bench.data.notes.map((text) => el("li", { text })));
    notes.hidden = !bench.data.notes.length;
  });
  const cautions = el("ul", {}, ...CAUTIONS.map((text) => el("li", { text })));
  const by = el("p", { class: "note", text: `Written by lutbench ${bench.data.version}. Nothing here leaves this page.` });
  return section("Trust", "trust", cautions, facts, notes, print, by);
}
