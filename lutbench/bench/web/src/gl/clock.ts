/** The GPU time of a frame, if the device reports it: EXT_disjoint_timer_query_webgl2. */

import type { GL } from "./context.ts";

interface Timer {
  TIME_ELAPSED_EXT: number;
  GPU_DISJOINT_EXT: number;
}

export class GpuClock {
  private readonly timer: Timer | null;
  private running: WebGLQuery | null = null;
  private waiting: WebGLQuery[] = [];
  /** Milliseconds of the last frame that was timed; null if the device does not report it. */
  last: number | null = null;

  constructor(private readonly gl: GL) {
    this.timer = gl.getExtension("EXT_disjoint_timer_query_webgl2") as Timer | null;
  }

  start(): void {
    if (!this.timer || this.waiting.length > 2 || this.running) return;
    this.running = this.gl.createQuery();
    this.gl.beginQuery(this.timer.TIME_ELAPSED_EXT, this.running);
  }

  stop(): void {
    if (!this.timer || !this.running) return;
    this.gl.endQuery(this.timer.TIME_ELAPSED_EXT);
    this.waiting.push(this.running);
    this.running = null;
  }

  poll(): void {
    const { gl, timer } = this;
    if (!timer) return;
    const disjoint = gl.getParameter(timer.GPU_DISJOINT_EXT) as boolean;
    this.waiting = this.waiting.filter((query) => {
      if (!gl.getQueryParameter(query, gl.QUERY_RESULT_AVAILABLE)) return true;
      const time = gl.getQueryParameter(query, gl.QUERY_RESULT) as number;
      if (!disjoint) this.last = time / 1e6;
      gl.deleteQuery(query);
      return false;
    });
  }
}
