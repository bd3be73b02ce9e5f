/** The scopes on the page: the painted trace under its lines and names. */

import type { Bench } from "../bench.ts";
import { areaOf, SCOPES, type Scope } from "../gl/scopes.ts";
import type { Side } from "../state.ts";
import { valueFromSignal } from "../signal.ts";
import type { SignalRange } from "../types.ts";
import { Choice, el, svg, Tick } from "./dom.ts";

const WORDS: Record<Scope, string> = {
  waveform: "Waveform",
  parade: "R G B parade",
  vectorscope: "Vectorscope",
  histogram: "Histogram",
};

/** R' G' B' of the 75 % bars, whose chroma the vectorscope marks. */
const BARS: [string, number, number, number][] = [
  ["R", 1, 0, 0], ["Mg", 1, 0, 1], ["B", 0, 0, 1], ["Cy", 0, 1, 1], ["G", 0, 1, 0], ["Yl", 1, 1, 0],
];

const SIDE_WORDS: [Side, string][] = [
  ["first", "The LUT"],
  ["second", "The other"],
];

export class ScopeView {
  readonly element: HTMLElement;
  private readonly canvases = new Map<Scope, HTMLCanvasElement>();
  private readonly figures = new Map<Scope, HTMLElement>();
  private readonly lines = new Map<Scope, SVGElement>();
  private readonly ticks = new Map<Scope, Tick>();
  private readonly side: Choice<Side>;

  constructor(private readonly bench: Bench) {
    const ticks = SCOPES.map((scope) => {
      const tick = new Tick(WORDS[scope], (on) => {
        const others = bench.state.scopes.filter((each) => each !== scope);
        const wanted = on ? [...others, scope] : others;
        bench.set({ scopes: SCOPES.filter((each) => wanted.includes(each)) });
      });
      this.ticks.set(scope, tick);
      return tick.element;
    });
    const title = el("legend", { text: "Scopes of the signal after the LUT" });
    const choice = el("fieldset", { class: "choice" }, title, el("div", { class: "ticks" }, ...ticks));
    this.side = new Choice("Scopes measure", SIDE_WORDS, (measured) => { bench.set({ measured }); });
    this.element = el("div", { class: "scopes" }, choice, this.side.element, ...SCOPES.map((scope) => this.figure(scope)));
    bench.onChange(() => { this.show(); });
  }

  private figure(scope: Scope): HTMLElement {
    const [width, height] = areaOf(scope);
    const canvas = el("canvas", { set: { role: "img", "aria-label": WORDS[scope] } });
    canvas.width = width;
    canvas.height = height;
    const lines = svg("svg", { viewBox: `0 0 ${width} ${height}`, "aria-hidden": "true" });
    this.canvases.set(scope, canvas);
    this.lines.set(scope, lines);
    const frame = el("div", { class: `scope ${scope}` }, canvas);
    frame.append(lines);
    const figure = el("figure", {}, frame, el("figcaption", { text: WORDS[scope] }));
    this.figures.set(scope, figure);
    return figure;
  }

  private show(): void {
    this.side.show(this.bench.state.measured);
    this.side.element.hidden = this.bench.state.look === "one";
    const range = this.bench.measuredShelf()?.range ?? this.bench.source?.data.range ?? "full";
    for (const scope of SCOPES) {
      const on = this.bench.state.scopes.includes(scope);
      this.ticks.get(scope)?.show(on);
      const figure = this.figures.get(scope);
      if (figure) figure.hidden = !on;
      if (on) this.lines.get(scope)?.replaceChildren(...linesOf(scope, range));
    }
  }

  /** Put a painted scope on its canvas; the GPU's first line is the lowest. */
  paint(scope: Scope, pixels: Uint8ClampedArray<ArrayBuffer>): void {
    const context = this.canvases.get(scope)?.getContext("2d");
    if (!context) return;
    const [width, height] = areaOf(scope);
    const flipped = new ImageData(width, height);
    for (let y = 0; y < height; y += 1) {
      const line = pixels.subarray(4 * width * y, 4 * width * (y + 1));
      flipped.data.set(line, 4 * width * (height - 1 - y));
    }
    context.putImageData(flipped, 0, 0);
  }
}

function linesOf(scope: Scope, range: SignalRange): SVGElement[] {
  const [width, height] = areaOf(scope);
  if (scope === "vectorscope") return chromaLines(width);
  if (scope === "histogram") return stripLines(width, height, range);
  const lines: SVGElement[] = [];
  for (const percent of [0, 25, 50, 75, 100]) {
    const y = height - 0.5 - valueFromSignal(percent / 100, range) * (height - 1);
    lines.push(svg("line", { x1: 0, x2: width, y1: y, y2: y }));
    const under = percent > 0;
    const place = { x: 4, y: under ? y + 3 : y - 4, class: under ? "under" : "" };
    lines.push(svg("text", place, String(percent)));
  }
  if (scope === "parade") {
    ["R", "G", "B"].forEach((name, at) => {
      lines.push(svg("text", { x: ((at + 1) * width) / 3 - 5, y: 4, class: "under end" }, name));
      if (at) lines.push(svg("line", { x1: (at * width) / 3, x2: (at * width) / 3, y1: 0, y2: height }));
    });
  }
  return lines;
}

function stripLines(width: number, height: number, range: SignalRange): SVGElement[] {
  const lines: SVGElement[] = [];
  for (const percent of [0, 25, 50, 75, 100]) {
    const x = 0.5 + valueFromSignal(percent / 100, range) * (width - 1);
    lines.push(svg("line", { x1: x, x2: x, y1: 0, y2: height }));
  }
  ["R", "G", "B", "Y′"].forEach((name, at) => {
    lines.push(svg("text", { x: width - 5, y: (at * height) / 4 + 4, class: "under end" }, name));
    if (at) lines.push(svg("line", { x1: 0, x2: width, y1: (at * height) / 4, y2: (at * height) / 4 }));
  });
  return lines;
}

/** Where a chroma of 0 to ±0.5 lies: the same as in count.vert.glsl. */
function chromaLines(size: number): SVGElement[] {
  const middle = size / 2 + 0.5;
  const reach = size - 2;
  const lines = [
    svg("line", { x1: 0, x2: size, y1: size - middle, y2: size - middle }),
    svg("line", { x1: middle, x2: middle, y1: 0, y2: size }),
    svg("circle", { cx: middle, cy: size - middle, r: reach / 2 }),
  ];
  for (const [name, red, green, blue] of BARS) {
    const luma = 0.75 * (0.2126 * red + 0.7152 * green + 0.0722 * blue);
    const x = middle + ((0.75 * blue - luma) / 1.8556) * reach;
    const y = size - middle - ((0.75 * red - luma) / 1.5748) * reach;
    lines.push(svg("rect", { x: x - 5, y: y - 5, width: 10, height: 10 }));
    lines.push(svg("text", { x: x + 8, y: y + 4 }, name));
  }
  return lines;
}
