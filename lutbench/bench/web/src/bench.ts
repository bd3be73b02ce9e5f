/** The bench: its set, its state and what it draws. Panels show it and change its state. */

import { parseCube } from "./cube.ts";
import { BenchError, harmless } from "./errors.ts";
import { Engine, type Scene, type Through } from "./gl/engine.ts";
import type { HdrCanvas } from "./gl/hdr.ts";
import { openPicture, pictureOf, type Picture } from "./picture.ts";
import { endsOf, readingOf, signalFromValue } from "./signal.ts";
import { SourceCurve, stopsOf } from "./source.ts";
import { fragmentOf, START, stateOf, type State } from "./state.ts";
import { applyLut, lutOf, tableOf, type Lut, type Table } from "./tables.ts";
import type { BenchData, Level, LutEntry, Reading, SignalRange, Triple, ViewLight } from "./types.ts";

export interface Shelf {
  name: string;
  title: string;
  entry: LutEntry | null;
  /** Unpacked when it is first asked for. */
  lut: () => Lut;
  range: SignalRange;
  view: Table | null;
  viewLabel: string;
  light: ViewLight | null;
}

/** A pixel: as recorded, after the LUT, and in light. */
export interface Probe {
  x: number;
  y: number;
  recorded: Reading[];
  after: Reading[];
  stops: number | null;
  nearest: { level: Level; away: number } | null;
}

export type Listener = (bench: Bench) => void;

export class Bench {
  data: BenchData;
  state: State;
  start: State;
  source: SourceCurve | null = null;
  shelves: Shelf[] = [];
  pictures = new Map<string, Picture>();
  /** Whether the picture is an ordinary one, encoded by the page as a stand-in for log. */
  ordinary = new Set<string>();
  camera: HTMLVideoElement | null = null;
  /** Whether the screen that the page is on shows more than standard range. */
  highRange = false;
  /** Null if this browser cannot draw brighter than white, or until that is known. */
  hdr: HdrCanvas | null = null;
  message = "";
  inMotion = false;
  /** While held, the other picture is shown. */
  swapped = false;
  portrait = false;
  private loaded = "";
  private readonly views = new Map<string, Table>();
  private readonly listeners: Listener[] = [];

  constructor(
    data: BenchData,
    readonly engine: Engine,
  ) {
    this.data = data;
    this.start = { ...START };
    this.state = this.start;
    this.take(data);
    this.state = this.fromAddress();
  }

  onChange(listener: Listener): void {
    this.listeners.push(listener);
  }

  /** Use a set: at the start, and again when the served one has changed. */
  take(data: BenchData): void {
    const before = new Map(this.data.stills.map((still) => [still.name, still.png]));
    this.data = data;
    this.source = data.sources.length ? new SourceCurve(data.sources[0]) : null;
    this.views.clear();
    this.shelves = [...data.luts.map((entry) => this.shelfOf(entry)), ...this.dropped()];
    // An unchanged still need not be decoded again.
    for (const { name, png } of data.stills) if (before.get(name) !== png) this.pictures.delete(name);
    this.loaded = "";
    this.start = {
      ...START,
      still: data.stills[0]?.name ?? "",
      lut: this.shelves[0]?.name ?? "",
    };
  }

  private dropped(): Shelf[] {
    return this.shelves.filter((shelf) => !shelf.entry);
  }

  private shelfOf(entry: LutEntry): Shelf {
    let lut: Lut | null = null;
    const view = entry.view ? this.data.views[entry.view] : null;
    return {
      name: entry.name,
      title: entry.title,
      entry,
      lut: () => (lut ??= lutOf(entry)),
      range: entry.target_range,
      view: entry.view && view ? this.viewOf(entry.view) : null,
      viewLabel: view?.label ?? "",
      light: view?.light ?? null,
    };
  }

  private viewOf(name: string): Table {
    const found = this.views.get(name) ?? tableOf(this.data.views[name].lattice);
    this.views.set(name, found);
    return found;
  }

  fromAddress(): State {
    const stills = [...this.data.stills.map((still) => still.name), ...this.pictures.keys()];
    return stateOf(location.hash, this.start, stills, this.shelves.map((shelf) => shelf.name));
  }

  set(change: Partial<State>): void {
    this.state = { ...this.state, ...change };
    const fragment = fragmentOf(this.state, this.start);
    history.replaceState(null, "", fragment ? `#${fragment}` : location.pathname + location.search);
    this.tell();
  }

  say(message: string): void {
    this.message = message;
    this.tell();
  }

  tell(): void {
    for (const listener of this.listeners) listener(this);
  }

  shelf(name: string): Shelf | null {
    return this.shelves.find((shelf) => shelf.name === name) ?? null;
  }

  /** The LUT in use: of a ladder, the one that best compensates for the exposure. */
  chosen(): Shelf | null {
    const chosen = this.shelf(this.state.lut);
    const rungs = this.rungs(chosen);
    if (!this.state.ladder || !rungs.length) return chosen;
    const away = (shelf: Shelf): number => Math.abs((shelf.entry?.exposure ?? 0) + this.state.stops);
    return rungs.reduce((best, each) => (away(each) < away(best) ? each : best));
  }

  /** The LUTs that differ from this one only in exposure, with itself. */
  rungs(shelf: Shelf | null): Shelf[] {
    const ladder = shelf?.entry?.ladder ?? null;
    return ladder === null ? [] : this.shelves.filter((each) => each.entry?.ladder === ladder);
  }

  private through(shelf: Shelf | null): Through {
    if (!shelf) return { lut: null, ends: this.sourceEnds(), view: null, light: null };
    return { lut: shelf.lut(), ends: endsOf(shelf.range), view: shelf.view, light: shelf.light };
  }

  sourceEnds(): [number, number] {
    return endsOf(this.source?.data.range ?? "full");
  }

  /** The LUTs whose pictures are shown now; null is the recording. */
  shown(): (Shelf | null)[] {
    const both = [this.chosen(), this.shelf(this.state.against)];
    if (this.swapped) return [both[1]];
    return this.state.look === "one" ? [both[0]] : both;
  }

  /** What the scopes measure. */
  measuredShelf(): Shelf | null {
    const shown = this.shown();
    return shown[this.state.measured === "second" ? shown.length - 1 : 0];
  }

  hdrAble(): boolean {
    return this.highRange && this.hdr !== null;
  }

  /** Whether HDR is shown as HDR now, rather than tone-mapped. */
  inLight(): boolean {
    const able = this.state.hdr && this.hdrAble();
    const difference = this.state.look === "difference" && !this.swapped;
    return able && !difference && this.shown().some((shelf) => shelf?.light);
  }

  /** How the picture is converted for the screen; empty if its codes are shown directly. */
  viewWords(): string {
    const light = this.inLight();
    const labels = this.shown().map((shelf) => (light && shelf?.light ? shelf.light.label : shelf?.viewLabel ?? ""));
    return [...new Set(labels.filter(Boolean))].join(" · ");
  }

  scene(): Scene {
    const { state } = this;
    const both = [this.through(this.chosen()), this.through(this.shelf(state.against))];
    if (this.swapped) both.reverse();
    return {
      first: both[0],
      second: both[1],
      source: this.source,
      sourceEnds: this.sourceEnds(),
      stops: state.stops,
      look: this.swapped ? "one" : state.look,
      stacked: this.portrait,
      wipe: state.wipe,
      gain: state.gain,
      interpolation: state.interpolation,
      wide: this.inLight(),
      measureSecond: state.measured === "second",
      zebra: state.zebra === "off" ? 0 : state.zebra === "recording" ? 1 : 2,
      zebraFrom: state.zebraAt / 100,
      falseColour: state.bands ? this.data.false_colour : null,
    };
  }

  /** Load the chosen still, unless it is loaded already. */
  async showStill(): Promise<void> {
    const name = this.state.still;
    const ordinary = this.ordinary.has(name);
    const key = `${name}\n${ordinary}`;
    if (this.camera || this.loaded === key || !name) return;
    this.loaded = key;
    const entry = this.data.stills.find((still) => still.name === name);
    const picture = this.pictures.get(name) ?? (entry && (await pictureOf(entry)));
    if (!picture || this.state.still !== name) return;
    this.pictures.set(name, picture);
    this.engine.setPicture(picture, ordinary ? (this.source?.standIn() ?? null) : null);
    this.tell();
  }

  setOrdinary(on: boolean): void {
    if (on) this.ordinary.add(this.state.still);
    else this.ordinary.delete(this.state.still);
    this.tell();
  }

  /** Open a dropped file: a `.cube` LUT or a picture. */
  async open(file: File): Promise<void> {
    try {
      this.message = "";
      if (/\.cube$/i.test(file.name)) await this.openCube(file);
      else {
        const picture = await openPicture(file);
        this.stopCamera();
        this.pictures.set(picture.name, picture);
        this.loaded = "";
        this.set({ still: picture.name, x: -1, y: -1 });
      }
    } catch (thrown) {
      if (!(thrown instanceof BenchError)) throw thrown;
      this.say(thrown.message);
    }
  }

  private async openCube(file: File): Promise<void> {
    const name = harmless(file.name);
    const { lut, title } = parseCube(new Uint8Array(await file.arrayBuffer()), name);
    this.shelves = this.shelves.filter((shelf) => shelf.entry ?? shelf.name !== name);
    if (this.shelf(name)) throw new BenchError("a LUT of the set has this name", name, "another name");
    const given = { name, title, entry: null, range: "full", view: null, viewLabel: "", light: null } as const;
    this.shelves.push({ ...given, lut: () => lut });
    this.set({ lut: name });
  }

  async startCamera(): Promise<void> {
    if (!this.source) return;
    const stand = this.source.standIn();
    const element = document.createElement("video");
    try {
      const wanted = { video: { width: { ideal: 1280 }, facingMode: "environment" } };
      element.srcObject = await navigator.mediaDevices.getUserMedia(wanted);
      element.muted = true;
      element.playsInline = true;
      await element.play();
    } catch {
      this.say("The camera cannot be used: there is none, or this page has no permission.");
      return;
    }
    this.engine.setVideo(element, stand);
    this.camera = element;
    this.tell();
  }

  stopCamera(): void {
    const stream = this.camera?.srcObject;
    if (stream instanceof MediaStream) for (const track of stream.getTracks()) track.stop();
    this.camera = null;
    this.engine.stopVideo();
    this.loaded = "";
  }

  /** The pixel x, y of the exposed recording. */
  probe(x: number, y: number): Probe | null {
    const { engine, source } = this;
    if (x < 0 || y < 0 || x >= engine.width || y >= engine.height) return null;
    const value = engine.valueAt(x, y);
    const shelf = this.chosen();
    return { x, y, ...this.readings(value, shelf), ...this.lightOf(value, source) };
  }

  /** The figures of a full-scale value, recorded and after a LUT. */
  readings(value: Triple, shelf: Shelf | null): { recorded: Reading[]; after: Reading[] } {
    const range = this.source?.data.range ?? "full";
    const after = shelf ? applyLut(shelf.lut(), value, this.state.interpolation) : value;
    const out = shelf ? shelf.range : range;
    return {
      recorded: value.map((each) => readingOf(signalFromValue(each, range), this.source?.data.ends)),
      after: after.map((each) => readingOf(signalFromValue(each, out))),
    };
  }

  private lightOf(value: Triple, source: SourceCurve | null): Pick<Probe, "stops" | "nearest"> {
    if (!source) return { stops: null, nearest: null };
    const stops = stopsOf(source.luminance(value));
    let nearest: Probe["nearest"] = null;
    for (const level of source.data.levels.levels) {
      // Whole stops are left out: the figure in stops already gives them.
      if (/^[+-]/.test(level.label)) continue;
      const away = level.stops === null ? Infinity : stops - level.stops;
      if (Math.abs(away) < Math.abs(nearest?.away ?? Infinity)) nearest = { level, away };
    }
    const dark = source.data.levels.levels.find((level) => level.stops === null);
    if (!nearest && dark) nearest = { level: dark, away: 0 };
    return { stops, nearest };
  }
}
