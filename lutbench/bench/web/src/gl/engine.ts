/** The passes from a recording to what is shown. */

import { BenchError } from "../errors.ts";
import type { Picture } from "../picture.ts";
import develop from "../shaders/develop.frag.glsl";
import expose from "../shaders/expose.frag.glsl";
import present from "../shaders/present.frag.glsl";
import type { SourceCurve } from "../source.ts";
import type { Interpolation, Lut, Table } from "../tables.ts";
import { unpack } from "../tables.ts";
import type { FalseColour, Triple, ViewLight } from "../types.ts";
import {
  cover, curveTexture, floatTexture, program, release, target, targetFormat, videoTexture,
} from "./context.ts";
import type { GL, Program, Target } from "./context.ts";
import { LutDrawer, readFloats } from "./gpulut.ts";
import { GpuClock } from "./clock.ts";
import { ScopeDrawer, type Measured } from "./scopes.ts";

export const LOOKS = ["one", "wipe", "beside", "difference"] as const;
export type Look = (typeof LOOKS)[number];

/** A LUT to look through; null is the recording itself. */
export interface Through {
  lut: Lut | null;
  /** Full-scale values of signal 0 and 1 of the output. */
  ends: [number, number];
  /** Converts its signal for a standard-range screen; null if none is needed. */
  view: Table | null;
  /** The light of its display if it is HDR. */
  light: ViewLight | null;
}

export interface Scene {
  first: Through;
  second: Through;
  source: SourceCurve | null;
  sourceEnds: [number, number];
  stops: number;
  look: Look;
  stacked: boolean;
  wipe: number;
  gain: number;
  interpolation: Interpolation;
  /** Whether the picture is also drawn for the HDR canvas. */
  wide: boolean;
  /** Whether the scopes measure the second picture rather than the first. */
  measureSecond: boolean;
  zebra: 0 | 1 | 2;
  zebraFrom: number;
  falseColour: FalseColour | null;
}

/** Rows of a matrix that changes nothing. */
const NO_MATRIX = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];

/** Stripes of the zebra in the height of a picture. */
const STRIPES = 60;

export class Engine {
  readonly gl: GL;
  readonly format: number;
  readonly exact: boolean;
  readonly scopes: ScopeDrawer;
  readonly luts: LutDrawer;
  readonly clock: GpuClock;
  private readonly exposing: Program;
  private readonly presenting: Program;
  private readonly exposure: WebGLTexture;
  private recorded: Target | null = null;
  private exposed: Target | null = null;
  private readonly developed: (Target | null)[] = [null, null];
  private video: { element: HTMLVideoElement; texture: WebGLTexture; table: Table } | null = null;
  private scene: Scene | null = null;
  private light: { of: SourceCurve; texture: WebGLTexture } | null = null;
  private marks: { of: FalseColour; grey: WebGLTexture; size: number; bands: WebGLTexture } | null = null;
  private lit: Target | null = null;
  private readonly lights = new WeakMap<ViewLight, { texture: WebGLTexture; size: number }>();

  constructor(readonly canvas: HTMLCanvasElement) {
    const gl = canvas.getContext("webgl2", {
      alpha: false, antialias: false, depth: false, stencil: false, preserveDrawingBuffer: true,
    });
    if (!gl) throw new BenchError("this browser has no WebGL 2: the bench cannot draw");
    this.gl = gl;
    gl.disable(gl.DITHER);
    const { format, exact } = targetFormat(gl);
    this.format = format;
    this.exact = exact;
    this.luts = new LutDrawer(gl, program(gl, develop));
    this.exposing = program(gl, expose);
    this.presenting = program(gl, present);
    this.scopes = new ScopeDrawer(gl, exact);
    this.clock = new GpuClock(gl);
    this.exposure = curveTexture(gl, new Float32Array(2), 1);
  }

  get width(): number {
    return this.recorded?.width ?? 0;
  }

  get height(): number {
    return this.recorded?.height ?? 0;
  }

  private recordingTarget(width: number, height: number): Target {
    if (this.recorded?.width === width && this.recorded.height === height) return this.recorded;
    for (const old of [this.recorded, this.exposed, ...this.developed]) release(this.gl, old);
    this.exposed = null;
    this.developed.fill(null);
    this.recorded = target(this.gl, width, height, this.format);
    return this.recorded;
  }

  /** Use a picture as the recording; with `standIn` it is first encoded by that lattice. */
  setPicture(picture: Picture, standIn: Table | null): void {
    const { gl } = this;
    const most = gl.getParameter(gl.MAX_TEXTURE_SIZE) as number;
    if (Math.max(picture.width, picture.height) > most) {
      throw new BenchError(`${picture.width} × ${picture.height} pixels`, picture.name, `up to ${most}`);
    }
    this.stopVideo();
    const texture = floatTexture(gl, picture.width, picture.height, picture.pixels);
    this.luts.draw({ curve: null, lattice: standIn }, texture, this.recordingTarget(picture.width, picture.height));
    gl.deleteTexture(texture);
  }

  /** Use the frames of a video, each encoded by `table`. */
  setVideo(element: HTMLVideoElement, table: Table): void {
    this.stopVideo();
    this.video = { element, texture: videoTexture(this.gl), table };
  }

  stopVideo(): void {
    if (this.video) this.gl.deleteTexture(this.video.texture);
    this.video = null;
  }

  private takeFrame(): void {
    if (!this.video || this.video.element.readyState < 2) return;
    const { gl } = this;
    const { element, texture, table } = this.video;
    gl.bindTexture(gl.TEXTURE_2D, texture);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, gl.RGBA, gl.UNSIGNED_BYTE, element);
    const into = this.recordingTarget(element.videoWidth, element.videoHeight);
    this.luts.draw({ curve: null, lattice: table }, texture, into);
  }

  /** Draw a scene on the canvas. */
  draw(scene: Scene): void {
    this.scene = scene;
    this.clock.start();
    this.takeFrame();
    if (!this.recorded) return;
    const exposed = this.expose(scene);
    const first = this.develop(0, scene.first, exposed, scene.interpolation);
    const second = scene.look === "one" ? first : this.develop(1, scene.second, exposed, scene.interpolation);
    this.present(scene, [first, second, exposed]);
    this.clock.stop();
  }

  private expose({ source, stops }: Scene): Target {
    const { gl, recorded } = this;
    if (!recorded) throw new BenchError("there is no picture");
    if (!source || stops === 0) return recorded;
    this.exposed ??= target(gl, recorded.width, recorded.height, this.format);
    const values = source.exposed(stops);
    curveTexture(gl, values, 1, this.exposure);
    this.exposing
      .use()
      .texture("picture", recorded.texture)
      .texture("exposure", this.exposure)
      .int("exposureSize", values.length);
    cover(gl, this.exposed, recorded.width, recorded.height);
    return this.exposed;
  }

  private develop(which: 0 | 1, { lut }: Through, exposed: Target, by: Interpolation): Target {
    if (!lut) return exposed;
    const into = this.developed[which] ?? target(this.gl, exposed.width, exposed.height, this.format);
    this.developed[which] = into;
    this.luts.draw(lut, exposed.texture, into, by);
    return into;
  }

  private present(scene: Scene, [first, second, exposed]: Target[]): void {
    const { gl, canvas, luts } = this;
    const { width, height } = exposed;
    const across = scene.look === "beside" && !scene.stacked ? 2 : 1;
    const down = scene.look === "beside" && scene.stacked ? 2 : 1;
    if (canvas.width !== width * across) canvas.width = width * across;
    if (canvas.height !== height * down) canvas.height = height * down;
    // Before the textures are bound: making a target takes a texture unit.
    const lit = scene.wide ? this.litTarget(canvas.width, canvas.height) : null;
    this.presenting
      .use()
      .int("extent", width, height)
      .int("look", LOOKS.indexOf(scene.look))
      .int("stacked", scene.stacked ? 1 : 0)
      .float("wipe", scene.wipe)
      .float("gain", scene.gain)
      .texture("first", first.texture)
      .texture("second", second.texture)
      .texture("exposed", exposed.texture)
      .float("firstEnds", ...scene.first.ends)
      .float("secondEnds", ...scene.second.ends)
      .float("sourceEnds", ...scene.sourceEnds)
      .texture("firstView", luts.nodes(scene.first.view), true)
      .texture("secondView", luts.nodes(scene.second.view), true)
      .int("viewSizes", scene.first.view?.size ?? 0, scene.second.view?.size ?? 0)
      .int("wide", 0)
      .int("zebra", scene.zebra)
      .float("zebraFrom", scene.zebraFrom)
      .float("stripe", Math.max(4, height / STRIPES));
    this.bands(scene);
    this.lightOf("first", scene.wide ? scene.first.light : null);
    this.lightOf("second", scene.wide ? scene.second.light : null);
    cover(gl, null, canvas.width, canvas.height);
    if (!lit) return;
    // The same again, not clipped at white.
    this.presenting.int("wide", 1);
    cover(gl, lit, lit.width, lit.height);
  }

  private lightOf(which: "first" | "second", light: ViewLight | null): void {
    let found = light && this.lights.get(light);
    if (light && !found) {
      const values = unpack(light.table);
      found = { texture: curveTexture(this.gl, values, 1), size: values.length };
      this.lights.set(light, found);
    }
    this.presenting
      .texture(`${which}Light`, found?.texture ?? this.luts.nothing)
      .int(`${which}LightSize`, found?.size ?? 0)
      .float(`${which}Ootf`, ...(light?.weights ?? [0, 0, 0]), light?.power ?? 0)
      .matrix(`${which}ToScreen`, light?.matrix ?? NO_MATRIX);
  }

  /** The target that `lightShown` reads. */
  private litTarget(width: number, height: number): Target {
    if (this.lit?.width === width && this.lit.height === height) return this.lit;
    release(this.gl, this.lit);
    this.lit = target(this.gl, width, height, this.gl.RGBA16F);
    return this.lit;
  }

  /** Whether this device draws and reads half floats, which the HDR canvas needs. */
  static halves(gl: GL): boolean {
    const tried = target(gl, 1, 1, gl.RGBA16F);
    const type = gl.getParameter(gl.IMPLEMENTATION_COLOR_READ_TYPE) as number;
    const format = gl.getParameter(gl.IMPLEMENTATION_COLOR_READ_FORMAT) as number;
    release(gl, tried);
    return type === gl.HALF_FLOAT && format === gl.RGBA;
  }

  /** The last picture for the HDR canvas: half floats, R G B A, the top line first. */
  lightShown(): { halves: Uint16Array<ArrayBuffer>; width: number; height: number } | null {
    const { gl, lit } = this;
    if (!lit || !this.scene?.wide) return null;
    const { width, height } = lit;
    const halves = new Uint16Array(4 * width * height);
    gl.bindFramebuffer(gl.FRAMEBUFFER, lit.buffer);
    gl.readPixels(0, 0, width, height, gl.RGBA, gl.HALF_FLOAT, halves);
    return { halves, width, height };
  }

  private bands({ falseColour, source }: Scene): void {
    const none = this.luts.nothing;
    this.presenting.int("bandCount", source && falseColour ? falseColour.bands.length : 0);
    if (!source || !falseColour) {
      this.presenting.texture("light", none).texture("grey", none).texture("bands", none);
      return;
    }
    if (this.light?.of !== source) {
      this.light = { of: source, texture: curveTexture(this.gl, source.light, 1) };
    }
    if (this.marks?.of !== falseColour) {
      const values = unpack(falseColour.grey.table);
      const grey = curveTexture(this.gl, values, 1);
      this.marks = { of: falseColour, grey, size: values.length, bands: bandTexture(this.gl, falseColour) };
    }
    this.presenting
      .texture("bands", this.marks.bands)
      .float("clipsFrom", falseColour.clips_from)
      .texture("light", this.light.texture)
      .int("lightSize", source.light.length)
      .float("luminance", ...source.data.luminance)
      .float("moreStops", falseColour.exposure)
      .texture("grey", this.marks.grey)
      .int("greySize", this.marks.size)
      .float("greyEnds", falseColour.grey.from, falseColour.grey.to);
  }

  /** What the scopes measure: the picture drawn last, before its conversion for the screen. */
  measured(): Measured | null {
    const { scene } = this;
    if (!scene || !this.recorded) return null;
    const exposed = scene.source && scene.stops !== 0 ? this.exposed : this.recorded;
    const which = scene.measureSecond && scene.look !== "one" ? 1 : 0;
    const { lut, ends } = which ? scene.second : scene.first;
    const picture = lut ? this.developed[which] : exposed;
    return picture && { picture, ends };
  }

  /** The exposed recording at a pixel (0, 0 is top left), full-scale values. */
  valueAt(x: number, y: number): Triple {
    const from = this.scene?.source && this.scene.stops !== 0 ? this.exposed : this.recorded;
    if (!from) throw new BenchError("there is no picture");
    const [r, g, b] = readFloats(this.gl, from, x, y, 1, 1);
    return [r, g, b];
  }

  /** Texels read for one pixel of the picture by the passes of a scene. */
  static reads(scene: Scene): number {
    const corners = scene.interpolation === "trilinear" ? 8 : 4;
    const develop = ({ lut }: Through): number =>
      lut ? 1 + (lut.curve ? 3 : 0) + (lut.lattice ? corners : 0) : 0;
    const show = ({ view }: Through): number => 1 + (view ? 4 : 0);
    const two = scene.look !== "one";
    const exposing = scene.source && scene.stops !== 0 ? 1 + 3 : 0;
    const marking = (scene.falseColour ? 1 + 3 + scene.falseColour.bands.length + 1 : 0) + (scene.zebra === 1 ? 1 : 0);
    const second = two ? develop(scene.second) + show(scene.second) : 0;
    return exposing + develop(scene.first) + show(scene.first) + second + marking;
  }
}

/** Bands as texels, a band a column: low, high and whether it shows clipping; below it its colour. */
function bandTexture(gl: GL, { bands }: FalseColour): WebGLTexture {
  const far = 1e30;
  const ends = bands.flatMap((band) => [band.low ?? -far, band.high ?? far, band.clips ? 1 : 0, 0]);
  const colours = bands.flatMap((band) => [...coloursOf(band.colour), 1]);
  return floatTexture(gl, bands.length, 2, Float32Array.from([...ends, ...colours]));
}

export function coloursOf(text: string): Triple {
  const number = Number.parseInt(text.slice(1), 16);
  return [number >> 16, (number >> 8) & 255, number & 255].map((code) => code / 255) as Triple;
}
