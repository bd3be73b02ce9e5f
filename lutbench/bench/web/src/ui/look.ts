/** What is shown: the picture, the LUT, and how two LUTs are compared. */

import type { Bench } from "../bench.ts";
import type { Look } from "../gl/engine.ts";
import type { Interpolation } from "../tables.ts";
import { GAINS } from "../state.ts";
import { button, Choice, el, Picker, section, Slider, Tick } from "./dom.ts";

const LOOK_WORDS: [Look, string][] = [
  ["one", "One"],
  ["wipe", "Wipe"],
  ["beside", "Side by side"],
  ["difference", "Difference"],
];

const INTERPOLATION_WORDS: [Interpolation, string][] = [
  ["tetrahedral", "Tetrahedral"],
  ["trilinear", "Trilinear"],
];

export function lookPanel(bench: Bench): HTMLElement {
  const picture = new Picker("Picture", (still) => {
    bench.stopCamera();
    bench.set({ still, x: -1, y: -1 });
  });
  const step = (by: number) => () => {
    const names = ["", ...bench.shelves.map((shelf) => shelf.name)];
    const at = names.indexOf(bench.state.lut) + by + names.length;
    bench.set({ lut: names[at % names.length] });
  };
  const lut = new Picker(
    "LUT",
    (name) => { bench.set({ lut: name }); },
    button("‹", step(-1), { "aria-label": "Previous LUT", class: "square" }),
    button("›", step(1), { "aria-label": "Next LUT", class: "square" }),
  );
  const look = new Choice("Compare", LOOK_WORDS, (value) => { bench.set({ look: value }); });
  const against = new Picker("With", (name) => { bench.set({ against: name }); });
  const wipe = new Slider(
    "Wipe at",
    { low: 0, high: 1, step: 0.005 },
    (value) => `${(100 * value).toFixed(0)} %`,
    (value) => { bench.set({ wipe: value }); },
  );
  const gain = new Slider(
    "Difference gain",
    { low: 0, high: GAINS.length - 1, step: 1 },
    (at) => `× ${GAINS[at]}`,
    (at) => { bench.set({ gain: GAINS[at] }); },
  );
  const interpolation = new Choice("Interpolation", INTERPOLATION_WORDS, (value) => {
    bench.set({ interpolation: value });
  });
  const hdr = new Tick("Show HDR as HDR on this screen", (on) => { bench.set({ hdr: on }); });
  const swap = swapButton(bench);
  const ordinary = new Tick("Ordinary picture: encode it like the recording", (on) => {
    bench.setOrdinary(on);
  });
  const about = el("p", { class: "note" });
  const standIn = el("p", { class: "note" });
  const sources = el("div", { class: "row" }, fileButton(bench), cameraButton(bench));
  const drop = el("p", { class: "note", text: "Or drop a picture or a .cube LUT anywhere on the page." });

  bench.onChange(() => {
    const { state } = bench;
    const own = bench.data.stills.map((still): [string, string] => [still.name, still.name]);
    const dropped = [...bench.pictures.keys()].filter((name) => !own.some(([known]) => known === name));
    picture.show([...own, ...dropped.map((name): [string, string] => [name, `${name} (opened)`])], state.still);
    const names = bench.shelves.map((shelf): [string, string] => [
      shelf.name,
      shelf.entry ? shelf.name : `${shelf.name} (opened)`,
    ]);
    const luts: [string, string][] = [...names, ["", "none: as recorded"]];
    lut.show(luts, state.lut);
    against.show(luts, state.against);
    look.show(state.look);
    wipe.show(state.wipe);
    wipe.element.hidden = state.look !== "wipe";
    gain.show(GAINS.findIndex((each) => each === state.gain));
    gain.element.hidden = state.look !== "difference";
    interpolation.show(state.interpolation);
    hdr.show(state.hdr);
    hdr.element.hidden = !bench.hdrAble() || !bench.shown().some((shelf) => shelf?.light);
    const encoded = bench.ordinary.has(state.still) || bench.camera !== null;
    ordinary.show(bench.ordinary.has(state.still), bench.source !== null);
    ordinary.element.hidden = bench.camera !== null || own.some(([name]) => name === state.still);
    const note = bench.pictures.get(state.still)?.note ?? "";
    about.hidden = !note || bench.camera !== null;
    about.textContent = note && `${note[0].toUpperCase()}${note.slice(1)}.`;
    standIn.hidden = !encoded;
    const curve = bench.source?.data.curve ?? "";
    standIn.textContent = `A stand-in for log: the page encodes an ordinary picture as ${curve}. Clipped highlights stay clipped.`;
  });
  return section(
    "Look", "look",
    picture.element, about, sources, drop, ordinary.element, standIn,
    lut.element, look.element, against.element, wipe.element, gain.element,
    hdr.element, interpolation.element, swap,
  );
}

/** While it is held down, the other picture is shown. */
function swapButton(bench: Bench): HTMLElement {
  const swap = (on: boolean) => (event: Event): void => {
    if (event instanceof KeyboardEvent && event.key !== " " && event.key !== "Enter") return;
    if (event instanceof KeyboardEvent) event.preventDefault();
    if (bench.swapped === on) return;
    bench.swapped = on;
    made.setAttribute("aria-pressed", String(on));
    bench.tell();
  };
  const made = el("button", {
    class: "wide",
    text: "Hold to see the other",
    set: { type: "button", "aria-pressed": "false" },
    on: {
      pointerdown: swap(true),
      pointerup: swap(false),
      pointercancel: swap(false),
      pointerleave: swap(false),
      keydown: swap(true),
      keyup: swap(false),
      blur: swap(false),
      contextmenu: (event) => { event.preventDefault(); },
    },
  });
  return made;
}

function fileButton(bench: Bench): HTMLElement {
  const input = el("input", {
    class: "unseen",
    id: "open-file",
    set: { type: "file", accept: "image/png,image/jpeg,.cube" },
    on: {
      change: () => {
        const file = input.files?.[0];
        if (file) void bench.open(file);
        input.value = "";
      },
    },
  });
  return el("div", { class: "file" }, input, el("label", { text: "Open a file…", set: { for: "open-file" } }));
}

function cameraButton(bench: Bench): HTMLElement {
  const made = button("Camera", () => {
    if (bench.camera) {
      bench.stopCamera();
      bench.tell();
    } else void bench.startCamera();
  });
  bench.onChange(() => {
    // Older browsers and insecure pages have no media devices.
    const devices = navigator.mediaDevices as MediaDevices | undefined;
    made.disabled = !devices || !bench.source;
    made.textContent = bench.camera ? "Stop the camera" : "Camera";
  });
  return made;
}
