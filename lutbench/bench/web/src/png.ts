/** PNG at its own depth: a browser's own decoder gives only eight bits. */

import { BenchError } from "./errors.ts";

/** Pixels of the largest picture that is accepted. */
export const MOST_PIXELS = 1 << 25;

const SIGNATURE = [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a];
/** Samples a pixel by colour type: grey, R G B, palette, grey and alpha, R G B and alpha. */
const SAMPLES: Record<number, number> = { 0: 1, 2: 3, 3: 1, 4: 2, 6: 4 };
const PALETTE = 3;
const WHERE = "PNG";

/** R G B as full-scale values 0..1, four floats a pixel (the last is 1). */
export interface Decoded {
  width: number;
  height: number;
  bits: number;
  pixels: Float32Array;
}

interface Header {
  width: number;
  height: number;
  bits: number;
  type: number;
}

export function isPng(data: Uint8Array): boolean {
  return SIGNATURE.every((byte, at) => data[at] === byte);
}

/** The picture; null for a kind that is left to the browser (interlaced, 1 to 4 bits). */
export async function decodePng(data: Uint8Array): Promise<Decoded | null> {
  const view = new DataView(data.buffer, data.byteOffset, data.byteLength);
  const parts: Uint8Array<ArrayBuffer>[] = [];
  let header: Header | null = null;
  let palette: Uint8Array | null = null;
  for (let at = SIGNATURE.length; at + 12 <= data.length; ) {
    const length = view.getUint32(at);
    const name = String.fromCharCode(...data.subarray(at + 4, at + 8));
    const body = data.subarray(at + 8, at + 8 + length);
    if (body.length < length) throw new BenchError(`the chunk ${name} is cut off`, WHERE);
    if (name === "IHDR") header = headerOf(body);
    if (name === "PLTE") palette = body;
    if (name === "IDAT") parts.push(Uint8Array.from(body));
    if (name === "IEND") break;
    if (header && header.bits === 0) return null;
    at += 12 + length;
  }
  if (!header) throw new BenchError("has no header", WHERE);
  const line = Math.ceil((header.width * SAMPLES[header.type] * header.bits) / 8);
  const raw = await inflated(parts, (line + 1) * header.height);
  unfilter(raw, line, Math.max(1, (SAMPLES[header.type] * header.bits) / 8));
  return { ...header, pixels: pixelsOf(raw, line, header, palette) };
}

/** The header; 0 bits if the browser is to decode it. */
function headerOf(body: Uint8Array): Header {
  if (body.length < 13) throw new BenchError("the header is cut off", WHERE);
  const view = new DataView(body.buffer, body.byteOffset, body.byteLength);
  const [width, height] = [view.getUint32(0), view.getUint32(4)];
  const [bits, type, interlaced] = [body[8], body[9], body[12]];
  if (!width || !height || width * height > MOST_PIXELS) {
    throw new BenchError(`${width} × ${height} pixels`, WHERE, `1 to ${MOST_PIXELS} pixels`);
  }
  if (!(type in SAMPLES)) throw new BenchError(`the colour type ${type}`, WHERE, "0, 2, 3, 4, 6");
  const ours = (bits === 8 || (bits === 16 && type !== PALETTE)) && !interlaced;
  return { width, height, bits: ours ? bits : 0, type };
}

/** Exactly as many bytes as the header promises. */
async function inflated(parts: Uint8Array<ArrayBuffer>[], count: number): Promise<Uint8Array> {
  const out = new Uint8Array(count);
  const stream = new Blob(parts).stream().pipeThrough(new DecompressionStream("deflate"));
  const reader = stream.getReader();
  let done = 0;
  try {
    for (let next = await reader.read(); !next.done; next = await reader.read()) {
      if (done + next.value.length > count) {
        await reader.cancel();
        throw new BenchError("holds more than its header says", WHERE);
      }
      out.set(next.value, done);
      done += next.value.length;
    }
  } catch (thrown) {
    if (thrown instanceof BenchError) throw thrown;
    throw new BenchError("is damaged: its pixels cannot be unpacked", WHERE);
  }
  if (done < count) throw new BenchError("is cut off", WHERE);
  return out;
}

/** Undo the filters of the lines in place: PNG specification, section 9. */
function unfilter(raw: Uint8Array, line: number, step: number): void {
  for (let start = 0; start < raw.length; start += line + 1) {
    const kind = raw[start];
    if (kind > 4) throw new BenchError(`the filter ${kind}`, WHERE, "0 to 4");
    for (let at = start + 1; at <= start + line; at += 1) {
      const left = at - step > start ? raw[at - step] : 0;
      const above = start > 0 ? raw[at - line - 1] : 0;
      const corner = start > 0 && at - step > start ? raw[at - line - 1 - step] : 0;
      raw[at] += predicted(kind, left, above, corner);
    }
  }
}

function predicted(kind: number, left: number, above: number, corner: number): number {
  if (kind === 1) return left;
  if (kind === 2) return above;
  if (kind === 3) return (left + above) >> 1;
  if (kind !== 4) return 0;
  const guess = left + above - corner;
  const [a, b, c] = [Math.abs(guess - left), Math.abs(guess - above), Math.abs(guess - corner)];
  if (a <= b && a <= c) return left;
  return b <= c ? above : corner;
}

function pixelsOf(
  raw: Uint8Array,
  line: number,
  header: Header,
  palette: Uint8Array | null,
): Float32Array {
  const { width, height, bits, type } = header;
  const samples = SAMPLES[type];
  const bytes = bits / 8;
  const colour = type === 2 || type === 6;
  const pixels = new Float32Array(4 * width * height).fill(1);
  const valueAt = (at: number): number =>
    bytes === 2 ? ((raw[at] << 8) | raw[at + 1]) / 65535 : raw[at] / 255;
  let out = 0;
  for (let y = 0; y < height; y += 1) {
    let at = y * (line + 1) + 1;
    for (let x = 0; x < width; x += 1, at += samples * bytes, out += 4) {
      for (let channel = 0; channel < 3; channel += 1) {
        pixels[out + channel] =
          type === PALETTE
            ? (palette?.[3 * raw[at] + channel] ?? 0) / 255
            : valueAt(at + (colour ? channel * bytes : 0));
      }
    }
  }
  return pixels;
}
