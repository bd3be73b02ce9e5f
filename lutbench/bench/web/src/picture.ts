/** Pictures: those in the page and those that are dropped on it. */

import { BenchError, harmless } from "./errors.ts";
import { decodePng, isPng, MOST_PIXELS, type Decoded } from "./png.ts";
import { bytesOf } from "./tables.ts";
import type { StillEntry } from "./types.ts";

/** Pixels to which a picture is reduced: four float textures of this size fit a phone. */
const WORKING_PIXELS = 1920 * 1440;

/** The largest file that is read. */
const MAX_BYTES = 256 * 1024 * 1024;

export interface Picture extends Decoded {
  name: string;
  note: string;
}

export async function pictureOf(entry: StillEntry): Promise<Picture> {
  const decoded = await decodePng(bytesOf(entry.png));
  if (!decoded) throw new BenchError("is of another kind", entry.name);
  return { ...decoded, name: entry.name, note: entry.note };
}

/** A picture from a file: PNG at its own depth, other formats as the browser decodes them. */
export async function openPicture(file: File): Promise<Picture> {
  if (file.size > MAX_BYTES) {
    throw new BenchError(`is too large (${file.size} bytes)`, file.name, `up to ${MAX_BYTES} bytes`);
  }
  const data = new Uint8Array(await file.arrayBuffer());
  let decoded: Decoded | null;
  try {
    decoded = isPng(data) ? await decodePng(data) : null;
  } catch (thrown) {
    throw new BenchError(thrown instanceof Error ? thrown.message : String(thrown), file.name);
  }
  decoded ??= await byBrowser(file);
  const small = reduced(decoded);
  const size = `${decoded.width} × ${decoded.height}, ${decoded.bits} bit`;
  const shrunk = small === decoded ? "" : `, shown at ${small.width} × ${small.height}`;
  return { ...small, name: harmless(file.name), note: size + shrunk };
}

async function byBrowser(file: File): Promise<Decoded> {
  let bitmap: ImageBitmap;
  try {
    // The codes as they are: no colour profile applied, nothing multiplied by alpha.
    bitmap = await createImageBitmap(file, {
      colorSpaceConversion: "none",
      premultiplyAlpha: "none",
    });
  } catch {
    const accepted = "PNG, JPEG; others through `lutbench bench --still`; a .cube LUT";
    throw new BenchError("is no picture that the browser reads", file.name, accepted);
  }
  const { width, height } = bitmap;
  if (width * height > MOST_PIXELS) {
    throw new BenchError(`${width} × ${height} pixels`, file.name, `up to ${MOST_PIXELS} pixels`);
  }
  const canvas = new OffscreenCanvas(width, height);
  const context = canvas.getContext("2d");
  if (!context) throw new BenchError("this browser draws no pictures", file.name);
  context.drawImage(bitmap, 0, 0);
  bitmap.close();
  const codes = context.getImageData(0, 0, width, height).data;
  const pixels = Float32Array.from(codes, (code) => code / 255);
  return { width, height, bits: 8, pixels };
}

/** The picture averaged over whole pixels until it is small enough to work with. */
function reduced(picture: Decoded): Decoded {
  const step = Math.ceil(Math.sqrt((picture.width * picture.height) / WORKING_PIXELS));
  if (step <= 1) return picture;
  const width = Math.floor(picture.width / step);
  const height = Math.floor(picture.height / step);
  if (!width || !height) throw new BenchError("is too long and thin", `${picture.width} pixels`);
  const pixels = new Float32Array(4 * width * height);
  for (let y = 0; y < height * step; y += 1) {
    for (let x = 0; x < width * step; x += 1) {
      const from = 4 * (y * picture.width + x);
      const to = 4 * (Math.floor(y / step) * width + Math.floor(x / step));
      for (let channel = 0; channel < 4; channel += 1) {
        pixels[to + channel] += picture.pixels[from + channel] / step ** 2;
      }
    }
  }
  return { width, height, bits: picture.bits, pixels };
}
