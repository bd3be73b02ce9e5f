/**
 * A canvas that can show values brighter than white, if the browser has one: WebGPU in half
 * floats with tone mapping "extended". WebGL draws the picture, this canvas shows it.
 */

export class HdrCanvas {
  private constructor(
    readonly canvas: HTMLCanvasElement,
    private readonly device: GPUDevice,
    private readonly context: GPUCanvasContext,
  ) {}

  /** The canvas, or null if this browser has none; `gone` is called when it is lost. */
  static async open(canvas: HTMLCanvasElement, gone: () => void): Promise<HdrCanvas | null> {
    // Older browsers have no WebGPU.
    const gpu = navigator.gpu as GPU | undefined;
    const device = await (await gpu?.requestAdapter())?.requestDevice();
    const context = canvas.getContext("webgpu");
    if (!device || !context) return null;
    context.configure({
      device,
      format: "rgba16float",
      usage: GPUTextureUsage.COPY_DST | GPUTextureUsage.RENDER_ATTACHMENT,
      colorSpace: "srgb",
      toneMapping: { mode: "extended" },
    });
    // A browser without tone mapping leaves it out of its configuration.
    const used = typeof context.getConfiguration === "function" ? context.getConfiguration() : null;
    if (used?.toneMapping?.mode !== "extended") return null;
    void device.lost.then(gone);
    return new HdrCanvas(canvas, device, context);
  }

  /** Show half floats, R G B A, the top line first, extended sRGB: 1.0 is the page's white. */
  show(halves: Uint16Array<ArrayBuffer>, width: number, height: number): void {
    const { canvas, context, device } = this;
    if (canvas.width !== width) canvas.width = width;
    if (canvas.height !== height) canvas.height = height;
    const texture = context.getCurrentTexture();
    device.queue.writeTexture({ texture }, halves, { bytesPerRow: 8 * width }, [width, height]);
  }
}
