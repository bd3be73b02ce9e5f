/** The page: its data, its panels, and the loop that draws when something has changed. */

import { Bench } from "./bench.ts";
import { parseCube } from "./cube.ts";
import { messageOf } from "./errors.ts";
import { Engine } from "./gl/engine.ts";
import { HdrCanvas } from "./gl/hdr.ts";
import { follow } from "./live.ts";
import { decodePng } from "./png.ts";
import { readingOf } from "./signal.ts";
import type { BenchData } from "./types.ts";
import { cardPanel } from "./ui/card.ts";
import { el } from "./ui/dom.ts";
import { exposePanel } from "./ui/expose.ts";
import { lookPanel } from "./ui/look.ts";
import { MeasurePanel } from "./ui/measure.ts";
import { ScopeView } from "./ui/scopeview.ts";
import { Stage } from "./ui/stage.ts";
import { trustPanel } from "./ui/trust.ts";

/** Milliseconds without a change after which the scopes count every pixel. */
const REST_MS = 160;

function start(): void {
  const place = document.getElementById("bench");
  const data = document.getElementById("bench-data")?.textContent;
  if (!place || !data) return;
  const canvas = el("canvas");
  try {
    const bench = new Bench(JSON.parse(data) as BenchData, new Engine(canvas));
    lay(bench, canvas, place);
    follow(bench);
  } catch (thrown) {
    place.replaceChildren(el("p", { class: "message", text: messageOf(thrown), set: { role: "alert" } }));
  }
}

function lay(bench: Bench, canvas: HTMLCanvasElement, place: HTMLElement): void {
  const scopes = new ScopeView(bench);
  const measure = new MeasurePanel(bench, scopes.element);
  const showPoint = (aloud: boolean): void => {
    measure.show(bench.probe(bench.state.x, bench.state.y), aloud);
  };
  const stage = new Stage(bench, canvas, showPoint);
  followRange(bench, stage);
  const sections = [lookPanel(bench), exposePanel(bench), measure.element, cardPanel(bench), trustPanel(bench)];
  const links = sections.map((each) =>
    el("a", { text: each.firstElementChild?.textContent ?? "", set: { href: `#${each.id}` }, on: { click: jump } }),
  );
  const left = el("div", { class: "column" }, sections[0], sections[1], sections[3]);
  const right = el("div", { class: "column" }, sections[2], sections[4]);
  const nav = el("nav", { set: { "aria-label": "Parts of the bench" } }, ...links);
  place.replaceChildren(stage.element, nav, left, right);
  loop(bench, scopes, (measured) => {
    stage.drawn();
    if (measured) showPoint(false);
  });
  listen(bench);
  bench.tell();
}

/** Show HDR as HDR while screen and browser can; otherwise it is tone-mapped. */
function followRange(bench: Bench, stage: Stage): void {
  const range = matchMedia("(dynamic-range: high)");
  const gone = (): void => {
    bench.hdr = null;
    bench.tell();
  };
  const changed = async (): Promise<void> => {
    bench.highRange = range.matches;
    if (range.matches && !bench.hdr && Engine.halves(bench.engine.gl)) {
      bench.hdr = await HdrCanvas.open(el("canvas"), gone).catch(() => null);
      if (bench.hdr) stage.lay(bench.hdr.canvas);
    }
    bench.tell();
  };
  range.addEventListener("change", () => void changed());
  void changed();
}

/** Scroll to a section; the fragment stays that of the state. */
function jump(event: Event): void {
  event.preventDefault();
  const link = event.currentTarget;
  if (!(link instanceof HTMLAnchorElement)) return;
  const wanted = document.getElementById(link.hash.slice(1));
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  wanted?.scrollIntoView({ behavior: still ? "auto" : "smooth" });
  wanted?.querySelector<HTMLElement>("input, select, button")?.focus({ preventScroll: true });
}

function loop(bench: Bench, scopes: ScopeView, drawn: (measured: boolean) => void): void {
  const { engine } = bench;
  let dirty = true;
  let changedAt = 0;
  let settled = true;
  bench.onChange(() => {
    dirty = true;
    changedAt = performance.now();
  });
  const frame = (): void => {
    const moving = performance.now() - changedAt < REST_MS;
    if (dirty || bench.camera || (!moving && !settled)) {
      dirty = false;
      settled = !moving;
      void bench.showStill().catch((thrown: unknown) => { bench.say(messageOf(thrown)); });
      engine.draw(bench.scene());
      const measured = engine.measured();
      if (measured) {
        engine.scopes.draw(bench.state.scopes, measured, moving || bench.camera !== null, (scope, pixels) => {
          scopes.paint(scope, pixels);
        });
      }
      const light = engine.lightShown();
      if (light) bench.hdr?.show(light.halves, light.width, light.height);
      drawn(measured !== null);
    }
    engine.scopes.poll();
    engine.clock.poll();
    requestAnimationFrame(frame);
  };
  requestAnimationFrame(frame);
}

function listen(bench: Bench): void {
  addEventListener("dragover", (event) => { event.preventDefault(); });
  addEventListener("drop", (event) => {
    event.preventDefault();
    for (const file of event.dataTransfer?.files ?? []) void bench.open(file);
  });
  addEventListener("paste", (event) => {
    for (const file of event.clipboardData?.files ?? []) void bench.open(file);
  });
  addEventListener("hashchange", () => { bench.set(bench.fromAddress()); });
  bench.engine.canvas.addEventListener("webglcontextlost", (event) => {
    event.preventDefault();
    bench.say("The graphics context was lost. The page reloads when it is back.");
  });
  // The state is in the address, so a reload loses nothing of the set.
  bench.engine.canvas.addEventListener("webglcontextrestored", () => { location.reload(); });
  // For the console and for tests.
  Object.assign(globalThis, { lutbench: { bench, parseCube, decodePng, readingOf } });
}

start();
