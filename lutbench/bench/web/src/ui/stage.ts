/** The picture: pointing, the wipe's line, names, keys, enlarging. */

import type { Bench, Shelf } from "../bench.ts";
import { el, retext } from "./dom.ts";
import { stopsWords } from "./words.ts";

const KEYS = "Arrows move the point, plus and minus the exposure, L goes to the next LUT, hold O to see the other.";

export class Stage {
  readonly element: HTMLElement;
  private readonly frame = el("div", { class: "frame" });
  private readonly names = [el("span", { class: "name first" }), el("span", { class: "name second" })];
  private readonly line = el("div", { class: "wipe", set: { "aria-hidden": "true" } });
  private readonly cross = el("div", { class: "cross", set: { "aria-hidden": "true" } });
  private readonly caption = el("p", { class: "caption" });
  private readonly message = el("p", { class: "message", set: { role: "alert" } });
  private readonly hold: HTMLElement;
  /** Covers the picture while HDR is shown as HDR. */
  private over: HTMLCanvasElement | null = null;
  private fitted = "";
  private dragging: "wipe" | "point" | null = null;

  constructor(
    private readonly bench: Bench,
    private readonly canvas: HTMLCanvasElement,
    private readonly pointed: (aloud: boolean) => void,
  ) {
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "application");
    canvas.setAttribute("aria-roledescription", "picture");
    canvas.setAttribute("aria-describedby", "keys");
    const keys = el("p", { id: "keys", class: "unseen", text: KEYS });
    this.frame.append(canvas, this.line, this.cross, ...this.names);
    const caution = el("p", { class: "caution", text: "An uncalibrated screen is not a monitor: judge by the figures." });
    const hold = el("div", { class: "hold" }, this.frame);
    const words = el("div", { class: "words" }, this.caption, caution);
    this.element = el("div", { class: "stage" }, this.message, hold, words, keys);
    this.hold = hold;
    this.listen();
    bench.onChange(() => { this.show(); });
    new ResizeObserver(() => { this.fit(); }).observe(hold);
  }

  /** Lay an HDR canvas over the picture. */
  lay(over: HTMLCanvasElement): void {
    this.over?.remove();
    over.className = "over";
    over.setAttribute("aria-hidden", "true");
    this.canvas.after(over);
    this.over = over;
  }

  private listen(): void {
    const { canvas, bench } = this;
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      this.dragging = bench.state.look === "wipe" && this.nearWipe(event) ? "wipe" : "point";
      this.moved(event);
    });
    canvas.addEventListener("pointermove", (event) => {
      if (this.dragging || event.pointerType === "mouse") this.moved(event);
    });
    for (const end of ["pointerup", "pointercancel"]) {
      canvas.addEventListener(end, () => { this.dragging = null; });
    }
    canvas.addEventListener("keydown", (event) => { this.key(event); });
    canvas.addEventListener("keyup", (event) => {
      if (event.key.toLowerCase() === "o") this.swap(false);
    });
    canvas.addEventListener("blur", () => { this.swap(false); });
  }

  private swap(on: boolean): void {
    if (this.bench.swapped === on) return;
    this.bench.swapped = on;
    this.bench.tell();
  }

  /** The position in the picture, 0..1 across and down the canvas. */
  private placeOf(event: PointerEvent): [number, number] {
    const box = this.canvas.getBoundingClientRect();
    return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
  }

  private nearWipe(event: PointerEvent): boolean {
    const box = this.canvas.getBoundingClientRect();
    return Math.abs(event.clientX - box.left - this.bench.state.wipe * box.width) < 24;
  }

  private moved(event: PointerEvent): void {
    const [across, down] = this.placeOf(event);
    if (this.dragging === "wipe") {
      this.bench.set({ wipe: Math.round(1000 * Math.min(Math.max(across, 0), 1)) / 1000 });
      return;
    }
    // An enlarged picture would move under a pointer that only passes over it.
    if (!this.dragging && this.bench.state.enlarge > 1) return;
    const { engine } = this.bench;
    const x = Math.floor(across * this.canvas.width) % Math.max(engine.width, 1);
    const y = Math.floor(down * this.canvas.height) % Math.max(engine.height, 1);
    this.point(x, y, false);
  }

  private point(x: number, y: number, aloud: boolean): void {
    const { engine } = this.bench;
    if (!engine.width || x < 0 || y < 0) return;
    this.bench.set({ x: Math.min(x, engine.width - 1), y: Math.min(y, engine.height - 1) });
    this.pointed(aloud);
  }

  private key(event: KeyboardEvent): void {
    const { bench } = this;
    const { engine, state } = bench;
    const step = event.shiftKey ? 10 : 1;
    const from = state.x < 0 ? [engine.width >> 1, engine.height >> 1] : [state.x, state.y];
    const moves: Record<string, [number, number]> = {
      ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step],
    };
    const move = moves[event.key] as [number, number] | undefined;
    if (move) this.point(Math.max(from[0] + move[0], 0), Math.max(from[1] + move[1], 0), true);
    else if (event.key === "+" || event.key === "-") {
      const by = event.key === "+" ? 1 / 3 : -1 / 3;
      bench.set({ stops: Math.min(Math.max(Math.round(1000 * (state.stops + by)) / 1000, -8), 8) });
    } else if (event.key.toLowerCase() === "l") {
      const at = bench.shelves.findIndex((shelf) => shelf.name === state.lut) + (event.shiftKey ? -1 : 1);
      bench.set({ lut: bench.shelves.at(at % Math.max(bench.shelves.length, 1))?.name ?? "" });
    } else if (event.key.toLowerCase() === "o") this.swap(true);
    else return;
    event.preventDefault();
  }

  /** After drawing: a picture of another size needs another frame. */
  drawn(): void {
    if (this.fitted !== `${this.canvas.width} ${this.canvas.height}`) this.fit();
  }

  /** Fit the picture into its area, or enlarge it around the point. */
  private fit(): void {
    const { canvas, frame, bench, hold } = this;
    this.fitted = `${canvas.width} ${canvas.height}`;
    const portrait = hold.clientHeight > hold.clientWidth;
    if (portrait !== bench.portrait) {
      bench.portrait = portrait;
      bench.tell();
    }
    const fitting = Math.min(hold.clientWidth / canvas.width, hold.clientHeight / canvas.height);
    const scale = fitting * bench.state.enlarge;
    frame.style.setProperty("width", `${canvas.width * fitting}px`);
    frame.style.setProperty("height", `${canvas.height * fitting}px`);
    const [x, y] = [Math.max(bench.state.x, 0) + 0.5, Math.max(bench.state.y, 0) + 0.5];
    const [across, down] = [(100 * x) / canvas.width, (100 * y) / canvas.height];
    const origin = bench.state.x < 0 ? "50% 50%" : `${across}% ${down}%`;
    for (const { style } of this.over ? [canvas, this.over] : [canvas]) {
      style.setProperty("transform-origin", origin);
      style.setProperty("transform", bench.state.enlarge > 1 ? `scale(${bench.state.enlarge})` : "none");
      style.setProperty("image-rendering", scale >= 3 ? "pixelated" : "auto");
    }
    this.cross.style.setProperty("left", `${across}%`);
    this.cross.style.setProperty("top", `${down}%`);
    this.cross.hidden = bench.state.x < 0;
  }

  private show(): void {
    const { bench } = this;
    const { state } = bench;
    const words = (shelf: Shelf | null): string => shelf?.name ?? "as recorded";
    const [one, other] = [words(bench.chosen()), words(bench.shelf(state.against))];
    const two = (state.look === "wipe" || state.look === "beside") && !bench.swapped;
    const single = bench.swapped ? other : state.look === "difference" ? `${one} − ${other}` : one;
    retext(this.names[0], two ? one : single);
    retext(this.names[1], two ? other : "");
    this.names[1].hidden = !two;
    this.frame.dataset["arrangement"] = state.look === "beside" ? (bench.portrait ? "stacked" : "beside") : state.look;
    this.line.hidden = state.look !== "wipe" || bench.swapped || state.enlarge > 1;
    this.line.style.setProperty("left", `${100 * state.wipe}%`);
    const parts = [bench.camera ? "camera (stand-in for log)" : state.still, stopsWords(state.stops)];
    const view = bench.viewWords();
    if (view) parts.push(view);
    if (this.over) this.over.hidden = !bench.inLight();
    retext(this.caption, parts.join(" · "));
    this.canvas.setAttribute("aria-label", `${state.still} through ${single}, ${stopsWords(state.stops)}`);
    retext(this.message, bench.message);
    this.message.hidden = !bench.message;
    this.fit();
  }
}
