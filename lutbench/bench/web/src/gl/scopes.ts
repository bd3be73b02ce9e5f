/** Waveform, parade, vectorscope and histogram: counted and painted on the GPU. */

import count from "../shaders/count.vert.glsl";
import mark from "../shaders/count.frag.glsl";
import paint from "../shaders/paint.frag.glsl";
import { cover, program, target } from "./context.ts";
import type { GL, Program, Target } from "./context.ts";
import { readFloats } from "./gpulut.ts";

export const SCOPES = ["waveform", "parade", "vectorscope", "histogram"] as const;
export type Scope = (typeof SCOPES)[number];

export const LEVELS = 256;

/** Most columns of a waveform; each holds the same number of the picture's columns. */
export const COLUMNS = 640;

/** Points counted while something changes; all of them afterwards. */
const POINTS_IN_MOTION = 200_000;

type Kind = "waveform" | "vectorscope" | "histogram";

const KINDS: Record<Kind, { number: number; width: number; height: number; instances: number }> = {
  waveform: { number: 0, width: COLUMNS, height: LEVELS, instances: 4 },
  vectorscope: { number: 1, width: LEVELS, height: LEVELS, instances: 1 },
  // One column: bins are counted as levels of a waveform that is one column wide.
  histogram: { number: 0, width: 1, height: LEVELS, instances: 4 },
};

const KIND_OF: Record<Scope, Kind> = {
  waveform: "waveform",
  parade: "waveform",
  vectorscope: "vectorscope",
  histogram: "histogram",
};

/** The size of a painted scope. */
export function areaOf(scope: Scope): [number, number] {
  return scope === "vectorscope" ? [LEVELS, LEVELS] : [COLUMNS, LEVELS];
}

interface Waiting {
  fence: WebGLSync;
  buffer: WebGLBuffer;
  size: number;
  done: (pixels: Uint8ClampedArray<ArrayBuffer>) => void;
}

interface Counted {
  points: number;
  columns: number;
}

/** What is measured: a developed picture and its values of signal 0 and 1. */
export interface Measured {
  picture: Target;
  ends: [number, number];
}

export class ScopeDrawer {
  private readonly counting: Program;
  private readonly painting: Program;
  private readonly counts = new Map<Kind, Target>();
  private readonly painted = new Map<Scope, Target>();
  private waiting: Waiting[] = [];
  readonly exact: boolean;

  constructor(
    private readonly gl: GL,
    exactTargets: boolean,
  ) {
    this.counting = program(gl, mark, count);
    this.painting = program(gl, paint);
    // Half floats count exactly up to 2048 only.
    this.exact = exactTargets && gl.getExtension("EXT_float_blend") !== null;
  }

  private countTarget(kind: Kind): Target {
    const { gl } = this;
    let found = this.counts.get(kind);
    if (!found) {
      const { width, height } = KINDS[kind];
      found = target(gl, width, height, this.exact ? gl.RGBA32F : gl.RGBA16F);
      this.counts.set(kind, found);
    }
    return found;
  }

  /** Count a picture; `inMotion` samples every nth pixel. Returns the share that was counted. */
  private count(kind: Kind, { picture, ends }: Measured, inMotion: boolean): Counted {
    const { gl } = this;
    const { number, width, instances } = KINDS[kind];
    const into = this.countTarget(kind);
    const all = picture.width * picture.height;
    const stride = inMotion ? Math.max(1, Math.ceil(Math.sqrt(all / POINTS_IN_MOTION))) : 1;
    const points = Math.ceil(picture.width / stride) * Math.ceil(picture.height / stride);
    // A column holds whole columns of the picture: uneven ones would show as stripes.
    const step = kind === "vectorscope" ? 1 : Math.max(stride, Math.ceil(picture.width / width));
    const columns = kind === "vectorscope" ? width : Math.ceil(picture.width / step);
    gl.bindFramebuffer(gl.FRAMEBUFFER, into.buffer);
    gl.viewport(0, 0, columns, into.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT);
    this.counting
      .use()
      .texture("picture", picture.texture)
      .int("extent", picture.width, picture.height)
      .int("stride", stride)
      .int("kind", number)
      .int("step", step)
      .int("bins", columns, into.height)
      .float("ends", ...ends);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE);
    gl.drawArraysInstanced(gl.POINTS, 0, points, instances);
    gl.disable(gl.BLEND);
    return { points, columns };
  }

  /** The counts as they are: columns × levels × R G B luma, levels from the bottom up. */
  numbers(scope: Scope, measured: Measured): { columns: number; counts: Float32Array } {
    const kind = KIND_OF[scope];
    const { columns } = this.count(kind, measured, false);
    const from = this.countTarget(kind);
    return { columns, counts: readFloats(this.gl, from, 0, 0, columns, from.height) };
  }

  /** Draw scopes; `done` gets each one's R G B A codes, the top line last, when they are ready. */
  draw(
    scopes: readonly Scope[],
    measured: Measured,
    inMotion: boolean,
    done: (scope: Scope, pixels: Uint8ClampedArray<ArrayBuffer>) => void,
  ): void {
    const counted = new Map<Kind, Counted>();
    for (const scope of scopes) {
      const kind = KIND_OF[scope];
      const found = counted.get(kind) ?? this.count(kind, measured, inMotion);
      counted.set(kind, found);
      this.paint(scope, found, (pixels) => {
        done(scope, pixels);
      });
    }
  }

  private paint(
    scope: Scope,
    { points, columns }: Counted,
    done: (pixels: Uint8ClampedArray<ArrayBuffer>) => void,
  ): void {
    const { gl } = this;
    const counts = this.countTarget(KIND_OF[scope]);
    const [width, height] = areaOf(scope);
    const into = this.painted.get(scope) ?? target(gl, width, height, gl.RGBA8);
    this.painted.set(scope, into);
    // Full brightness: a tenth of a column on one level; a 1/400 of all on one chroma.
    const full = { waveform: points / columns / 10, vectorscope: points / 400, histogram: points / 12 };
    this.painting
      .use()
      .texture("counts", counts.texture)
      .int("bins", columns, counts.height)
      .int("area", width, height)
      .int("scope", SCOPES.indexOf(scope))
      .float("full", Math.max(full[KIND_OF[scope]], 1));
    cover(gl, into, width, height);
    this.fetch(into, done);
  }

  /** Ask for a target's pixels without waiting for them. */
  private fetch(from: Target, done: Waiting["done"]): void {
    const { gl } = this;
    const size = 4 * from.width * from.height;
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.PIXEL_PACK_BUFFER, buffer);
    gl.bufferData(gl.PIXEL_PACK_BUFFER, size, gl.STREAM_READ);
    gl.readPixels(0, 0, from.width, from.height, gl.RGBA, gl.UNSIGNED_BYTE, 0);
    gl.bindBuffer(gl.PIXEL_PACK_BUFFER, null);
    const fence = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
    if (!fence) return;
    this.waiting.push({ fence, buffer, size, done });
    gl.flush();
  }

  /** Deliver what is ready; whether something is still pending. */
  poll(): boolean {
    const { gl } = this;
    this.waiting = this.waiting.filter(({ fence, buffer, size, done }) => {
      if (gl.getSyncParameter(fence, gl.SYNC_STATUS) !== gl.SIGNALED) return true;
      const pixels = new Uint8ClampedArray(size);
      gl.bindBuffer(gl.PIXEL_PACK_BUFFER, buffer);
      gl.getBufferSubData(gl.PIXEL_PACK_BUFFER, 0, pixels);
      gl.bindBuffer(gl.PIXEL_PACK_BUFFER, null);
      gl.deleteBuffer(buffer);
      gl.deleteSync(fence);
      done(pixels);
      return false;
    });
    return this.waiting.length > 0;
  }
}
