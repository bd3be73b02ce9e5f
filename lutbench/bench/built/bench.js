/* sources sha256: 7ff9a00af6a0a2d4c169a9481eb3c183afe3876d74bd410b5305d58906534305 */
"use strict";
(() => {
  // src/errors.ts
  var STEERING = /[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff]/g;
  function harmless(text) {
    return text.replace(STEERING, "�");
  }
  var BenchError = class extends Error {
    constructor(what, where = "", accepted = "") {
      const text = where ? `${where}: ${what}` : what;
      super(harmless(accepted ? `${text}; accepted: ${accepted}` : text).split(/\s+/).join(" ").trim());
    }
  };
  function messageOf(thrown) {
    return thrown instanceof Error ? thrown.message : String(thrown);
  }

  // src/cube.ts
  var MAX_BYTES = 512 * 1024 * 1024;
  var MAX_LINE = 4096;
  var MAX_IDLE_LINES = 1e5;
  var LARGEST = 34028235e31;
  var SHORTEST_ROW = "0 0 0\n".length;
  var SIZES = { LUT_1D_SIZE: [2, 65536], LUT_3D_SIZE: [2, 256] };
  var NUMBER_COUNTS = {
    LUT_1D_INPUT_RANGE: 2,
    LUT_3D_INPUT_RANGE: 2,
    DOMAIN_MIN: 3,
    DOMAIN_MAX: 3
  };
  var KEYWORDS = ["TITLE", ...Object.keys(SIZES), ...Object.keys(NUMBER_COUNTS)];
  var NUMBER = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$/;
  var SPACE = /[ \t\n\r\v\f]+/;
  var BOM = [239, 187, 191];
  var LF = 10;
  var CR = 13;
  function parseCube(data, where) {
    if (data.length > MAX_BYTES) {
      const limit = `up to ${MAX_BYTES} bytes`;
      throw new BenchError(`is too large (${data.length} bytes)`, where, limit);
    }
    return new Reader(where, plainText(data, where)).read();
  }
  function plainText(data, where) {
    const wide = (a, b) => data[0] === a && data[1] === b;
    if (wide(255, 254) || wide(254, 255)) {
      throw new BenchError("the text is UTF-16", where, "ASCII or UTF-8 text");
    }
    let start2 = BOM.every((byte, at) => data[at] === byte) ? BOM.length : 0;
    const text = new Uint8Array(data.length - start2 + 1);
    let length = 0;
    let blank = true;
    let line = 1;
    for (; start2 < data.length; start2 += 1) {
      let byte = data[start2];
      if (byte === 0) {
        const what = "a null byte: this is no text";
        throw new BenchError(what, `${where}:${line}`, "a .cube LUT, ASCII or UTF-8");
      }
      if (byte === LF) line += 1;
      if (byte === CR) {
        if (data[start2 + 1] === LF) continue;
        byte = LF;
      }
      blank &&= byte === 32 || byte >= 9 && byte <= 13;
      text[length] = byte;
      length += 1;
    }
    if (blank) throw new BenchError("the file is empty", where, "a .cube LUT");
    if (text[length - 1] !== LF) {
      text[length] = LF;
      length += 1;
    }
    return text.subarray(0, length);
  }
  var Reader = class {
    constructor(where, text) {
      this.where = where;
      this.text = text;
    }
    where;
    text;
    title = "";
    settings = /* @__PURE__ */ new Map();
    idle = 0;
    idleLimit = MAX_IDLE_LINES;
    read() {
      const lines = this.lines();
      const first = this.head(lines);
      const [rows, nodes] = this.sizes();
      const domains = this.domains(rows, nodes);
      const values = this.rows(first, lines, rows + nodes ** 3);
      const curve = rows ? tableOf(rows, domains.curve, values.slice(0, 3 * rows)) : null;
      const lattice = nodes ? latticeOf(nodes, domains.lattice, values.subarray(3 * rows)) : null;
      return { lut: { curve, lattice }, title: this.title };
    }
    /** The lines that are neither blank nor a comment. */
    *lines() {
      let at = 0;
      for (let number = 1; at < this.text.length; number += 1) {
        const end = this.text.indexOf(LF, at);
        if (end - at > MAX_LINE) this.fail(number, "the line is too long", `up to ${MAX_LINE} bytes a line`);
        const text = strip(latin(this.text.subarray(at, end)));
        if (text && !text.startsWith("#")) yield { number, at, text };
        else this.idleLine(number);
        at = end + 1;
      }
      return void 0;
    }
    idleLine(line) {
      this.idle += 1;
      if (this.idle > this.idleLimit) {
        this.fail(line, "too many comments and blank lines", `up to ${this.idleLimit}`);
      }
    }
    head(lines) {
      for (let next = lines.next(); !next.done; next = lines.next()) {
        if ("+-.0123456789".includes(next.value.text[0])) return next.value;
        this.keyword(next.value);
      }
      this.sizes();
      return this.fail(0, "the file has no rows", "a row of three numbers for each entry");
    }
    keyword({ number, text }) {
      const word = text.split(SPACE, 1)[0];
      const argument = strip(text.slice(word.length));
      const keyword = upper(word);
      if (keyword === "TITLE" || keyword.startsWith('TITLE"')) this.takeTitle(text.slice(5));
      else if (keyword in SIZES) this.setting(number, keyword, [this.size(number, keyword, argument)]);
      else if (keyword in NUMBER_COUNTS) {
        this.setting(number, keyword, this.numbers(number, keyword, argument));
      } else if (["NAN", "INF", "INFINITY"].includes(keyword)) this.badRow(number, text);
      else if (!/^[A-Za-z_][A-Za-z0-9_]*$/.test(word)) {
        const accepted = `${KEYWORDS.join(", ")}, a comment with #, or three numbers`;
        this.fail(number, `${shown(text)} is neither keyword nor numbers`, accepted);
      }
    }
    takeTitle(raw) {
      if (this.title) return;
      const bytes = Uint8Array.from(raw, (character) => character.charCodeAt(0));
      let text;
      try {
        text = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(bytes);
      } catch {
        text = raw;
      }
      text = text.replace(/[\x00-\x1f\x7f-\x9f\u2028\u2029]/g, " ").trim();
      this.title = text.replace(/^"/, "").replace(/"$/, "");
    }
    size(line, keyword, argument) {
      const [low, high] = SIZES[keyword];
      const size = /^\d{1,9}$/.test(argument) ? Number(argument) : -1;
      if (size < low || size > high) {
        this.fail(line, `${keyword} ${shown(argument)} is not a size`, `${low} to ${high}`);
      }
      return size;
    }
    numbers(line, keyword, argument) {
      const count = NUMBER_COUNTS[keyword];
      const values = words(argument).map(numberOf);
      if (values.length !== count || values.some((value) => value === null)) {
        this.fail(line, `${keyword} ${shown(argument)}`, `${count} finite numbers`);
      }
      return values;
    }
    setting(line, keyword, numbers) {
      const before = this.settings.get(keyword);
      if (before?.numbers.some((value, at) => value !== numbers[at])) {
        this.fail(line, `${keyword} again, and not as on line ${before.line}`, "it once");
      }
      this.settings.set(keyword, { line, numbers });
    }
    /** The rows of the curve and the nodes an edge of the lattice, 0 where there is none. */
    sizes() {
      const rows = this.settings.get("LUT_1D_SIZE")?.numbers[0] ?? 0;
      const nodes = this.settings.get("LUT_3D_SIZE")?.numbers[0] ?? 0;
      if (!rows && !nodes) {
        const what = "no LUT_1D_SIZE and no LUT_3D_SIZE before the rows";
        throw new BenchError(what, this.where, "a .cube LUT");
      }
      return [rows, nodes];
    }
    domains(rows, nodes) {
      const ends = ["DOMAIN_MIN", "DOMAIN_MAX"].map((keyword) => this.settings.get(keyword));
      const whole = [
        ends[0]?.numbers ?? [0, 0, 0],
        ends[1]?.numbers ?? [1, 1, 1]
      ];
      this.checkDomain(whole, ends);
      const domains = { curve: unit(), lattice: unit() };
      domains[rows ? "curve" : "lattice"] = whole;
      for (const [part, size, keyword] of [
        ["curve", rows, "LUT_1D_INPUT_RANGE"],
        ["lattice", nodes, "LUT_3D_INPUT_RANGE"]
      ]) {
        const range = this.settings.get(keyword);
        if (!range || !size) continue;
        const [low, high] = range.numbers;
        const domain = [[low, low, low], [high, high, high]];
        this.checkDomain(domain, [range]);
        const same = domain.flat().every((value, at) => value === whole.flat()[at]);
        if (part === (rows ? "curve" : "lattice") && (ends[0] ?? ends[1]) && !same) {
          this.fail(range.line, `${keyword} and DOMAIN_MIN, DOMAIN_MAX differ`, "one of them");
        }
        domains[part] = domain;
      }
      return domains;
    }
    checkDomain([low, high], from) {
      if (low.every((value, channel) => value < high[channel])) return;
      const line = Math.max(...from.map((each) => each?.line ?? 0));
      const what = `the domain runs from [${low.join(", ")}] to [${high.join(", ")}]`;
      this.fail(line, what, "the minimum under the maximum");
    }
    rows(first, lines, count) {
      const rest = this.text.length - first.at;
      if (rest < count * SHORTEST_ROW) this.tooFew(this.lineFeeds(first.at), count, "at most ");
      this.idleLimit = MAX_IDLE_LINES + count;
      const values = new Float32Array(3 * count);
      let done = 0;
      for (let line = first; line; line = lines.next().value) {
        const row = words(line.text).map(numberOf);
        if (row.length !== 3 || row.some((value) => value === null)) this.badRow(line.number, line.text);
        if (done === count) {
          this.fail(line.number, `a row too many for ${this.declared()}`, `${count} rows`);
        }
        values.set(row, 3 * done);
        done += 1;
      }
      if (done < count) this.tooFew(done, count, "");
      return values;
    }
    lineFeeds(from) {
      let found = 0;
      for (let at = from; at < this.text.length; at += 1) found += this.text[at] === LF ? 1 : 0;
      return found;
    }
    badRow(line, text) {
      const word = words(text)[0];
      if (KEYWORDS.includes(upper(word))) {
        this.fail(line, `${shown(word)} after the first row`, "keywords before the rows");
      }
      if (/\d,\d/.test(text)) this.fail(line, `${shown(text)} has decimal commas`, "decimal points");
      const what = /nan|inf/i.test(text) ? "is not finite" : "is not a row";
      return this.fail(line, `${shown(text)} ${what}`, "three finite numbers");
    }
    tooFew(found, count, most) {
      const rows = `${most}${found} ${found === 1 ? "row" : "rows"}`;
      return this.fail(0, `${rows}, too few for ${this.declared()}`, `${count} rows`);
    }
    declared() {
      return Object.keys(SIZES).flatMap((keyword) => {
        const setting = this.settings.get(keyword);
        return setting ? [`${keyword} ${setting.numbers[0]}`] : [];
      }).join(" and ");
    }
    fail(line, what, accepted) {
      throw new BenchError(what, line ? `${this.where}:${line}` : this.where, accepted);
    }
  };
  function latin(bytes) {
    return String.fromCharCode(...bytes);
  }
  function unit() {
    return [[0, 0, 0], [1, 1, 1]];
  }
  function tableOf(size, [low, high], values) {
    return { size, low, high, values };
  }
  function latticeOf(size, domain, rows) {
    const values = new Float32Array(rows.length);
    let row = 0;
    for (let blue = 0; blue < size; blue += 1) {
      for (let green = 0; green < size; green += 1) {
        for (let red = 0; red < size; red += 1, row += 3) {
          values.set(rows.subarray(row, row + 3), 3 * ((red * size + green) * size + blue));
        }
      }
    }
    return tableOf(size, domain, values);
  }
  function numberOf(token) {
    if (!NUMBER.test(token)) return null;
    const value = Number(token);
    return Math.abs(value) <= LARGEST ? value : null;
  }
  function words(text) {
    return strip(text).split(SPACE).filter(Boolean);
  }
  function strip(text) {
    return text.replace(/^[ \t\n\r\v\f]+|[ \t\n\r\v\f]+$/g, "");
  }
  function upper(text) {
    return text.replace(/[a-z]/g, (letter) => letter.toUpperCase());
  }
  function shown(text) {
    return `'${text.length > 60 ? `${text.slice(0, 60)}…` : text}'`;
  }

  // src/png.ts
  var MOST_PIXELS = 1 << 25;
  var SIGNATURE = [137, 80, 78, 71, 13, 10, 26, 10];
  var SAMPLES = { 0: 1, 2: 3, 3: 1, 4: 2, 6: 4 };
  var PALETTE = 3;
  var WHERE = "PNG";
  function isPng(data) {
    return SIGNATURE.every((byte, at) => data[at] === byte);
  }
  async function decodePng(data) {
    const view = new DataView(data.buffer, data.byteOffset, data.byteLength);
    const parts = [];
    let header = null;
    let palette = null;
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
    const line = Math.ceil(header.width * SAMPLES[header.type] * header.bits / 8);
    const raw = await inflated(parts, (line + 1) * header.height);
    unfilter(raw, line, Math.max(1, SAMPLES[header.type] * header.bits / 8));
    return { ...header, pixels: pixelsOf(raw, line, header, palette) };
  }
  function headerOf(body) {
    if (body.length < 13) throw new BenchError("the header is cut off", WHERE);
    const view = new DataView(body.buffer, body.byteOffset, body.byteLength);
    const [width, height] = [view.getUint32(0), view.getUint32(4)];
    const [bits, type, interlaced] = [body[8], body[9], body[12]];
    if (!width || !height || width * height > MOST_PIXELS) {
      throw new BenchError(`${width} × ${height} pixels`, WHERE, `1 to ${MOST_PIXELS} pixels`);
    }
    if (!(type in SAMPLES)) throw new BenchError(`the colour type ${type}`, WHERE, "0, 2, 3, 4, 6");
    const ours = (bits === 8 || bits === 16 && type !== PALETTE) && !interlaced;
    return { width, height, bits: ours ? bits : 0, type };
  }
  async function inflated(parts, count) {
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
  function unfilter(raw, line, step) {
    for (let start2 = 0; start2 < raw.length; start2 += line + 1) {
      const kind = raw[start2];
      if (kind > 4) throw new BenchError(`the filter ${kind}`, WHERE, "0 to 4");
      for (let at = start2 + 1; at <= start2 + line; at += 1) {
        const left = at - step > start2 ? raw[at - step] : 0;
        const above = start2 > 0 ? raw[at - line - 1] : 0;
        const corner = start2 > 0 && at - step > start2 ? raw[at - line - 1 - step] : 0;
        raw[at] += predicted(kind, left, above, corner);
      }
    }
  }
  function predicted(kind, left, above, corner) {
    if (kind === 1) return left;
    if (kind === 2) return above;
    if (kind === 3) return left + above >> 1;
    if (kind !== 4) return 0;
    const guess = left + above - corner;
    const [a, b, c] = [Math.abs(guess - left), Math.abs(guess - above), Math.abs(guess - corner)];
    if (a <= b && a <= c) return left;
    return b <= c ? above : corner;
  }
  function pixelsOf(raw, line, header, palette) {
    const { width, height, bits, type } = header;
    const samples = SAMPLES[type];
    const bytes = bits / 8;
    const colour = type === 2 || type === 6;
    const pixels = new Float32Array(4 * width * height).fill(1);
    const valueAt = (at) => bytes === 2 ? (raw[at] << 8 | raw[at + 1]) / 65535 : raw[at] / 255;
    let out = 0;
    for (let y = 0; y < height; y += 1) {
      let at = y * (line + 1) + 1;
      for (let x = 0; x < width; x += 1, at += samples * bytes, out += 4) {
        for (let channel = 0; channel < 3; channel += 1) {
          pixels[out + channel] = type === PALETTE ? (palette?.[3 * raw[at] + channel] ?? 0) / 255 : valueAt(at + (colour ? channel * bytes : 0));
        }
      }
    }
    return pixels;
  }

  // src/tables.ts
  function bytesOf(base64) {
    const text = atob(base64);
    const bytes = new Uint8Array(text.length);
    for (let at = 0; at < text.length; at += 1) bytes[at] = text.charCodeAt(at);
    return bytes;
  }
  function unpack(packed) {
    const bytes = bytesOf(packed.data);
    const view = new DataView(bytes.buffer);
    if (packed.packing === "f32") {
      return Float32Array.from({ length: bytes.length / 4 }, (_, at) => view.getFloat32(4 * at, true));
    }
    const step = (packed.high - packed.low) / 65535;
    const values = new Float32Array(bytes.length / 2);
    for (let at = 0; at < values.length; at += 1) {
      values[at] = packed.low + step * view.getUint16(2 * at, true);
    }
    return values;
  }
  function tableOf2(packed) {
    const [low, high] = packed.domain;
    return { size: packed.size, low, high, values: unpack(packed.table) };
  }
  function lutOf(entry) {
    return {
      curve: entry.curve && tableOf2(entry.curve),
      lattice: entry.lattice && tableOf2(entry.lattice),
      held: entry.held
    };
  }
  function place(table, value, channel) {
    const low = table.low[channel];
    const steps = (value - low) / (table.high[channel] - low) * (table.size - 1);
    const held2 = Math.min(Math.max(steps, 0), table.size - 1);
    const cell = Math.min(Math.floor(held2), table.size - 2);
    return [cell, held2 - cell];
  }
  function throughCurve(table, rgb) {
    const one = (channel) => {
      const [cell, part] = place(table, rgb[channel], channel);
      const at = 3 * cell + channel;
      return (1 - part) * table.values[at] + part * table.values[at + 3];
    };
    return [one(0), one(1), one(2)];
  }
  var INTERPOLATIONS = ["tetrahedral", "trilinear"];
  function trilinear(table, rgb) {
    const { size, values } = table;
    const [red, green, blue] = [0, 1, 2].map((channel) => place(table, rgb[channel], channel));
    const out = [0, 0, 0];
    for (let corner = 0; corner < 8; corner += 1) {
      let weight = 1;
      const node = [red, green, blue].reduce((sum, [cell, part], axis) => {
        const end = corner >> axis & 1;
        weight *= end ? part : 1 - part;
        return sum * size + cell + end;
      }, 0);
      for (let channel = 0; channel < 3; channel += 1) out[channel] += weight * values[3 * node + channel];
    }
    return out;
  }
  function tetrahedral(table, rgb) {
    const { size, values } = table;
    const strides = [size * size, size, 1];
    const places = [0, 1, 2].map((channel) => place(table, rgb[channel], channel));
    const order = [0, 1, 2].sort((a, b) => places[b][1] - places[a][1]);
    let node = places.reduce((sum, [cell], axis) => sum + cell * strides[axis], 0);
    let left = 1;
    const out = [0, 0, 0];
    const add = (weight) => {
      for (let channel = 0; channel < 3; channel += 1) {
        out[channel] += weight * values[3 * node + channel];
      }
    };
    for (const axis of order) {
      const fraction = places[axis][1];
      add(left - fraction);
      left = fraction;
      node += strides[axis];
    }
    add(left);
    return out;
  }
  function applyLut(lut, rgb, interpolation) {
    let value = lut.curve ? throughCurve(lut.curve, rgb) : rgb;
    if (lut.lattice) value = (interpolation === "trilinear" ? trilinear : tetrahedral)(lut.lattice, value);
    if (!lut.held) return value;
    const [low, high] = lut.held;
    return value.map((each) => Math.min(Math.max(each, low), high));
  }

  // src/picture.ts
  var WORKING_PIXELS = 1920 * 1440;
  var MAX_BYTES2 = 256 * 1024 * 1024;
  async function pictureOf(entry) {
    const decoded = await decodePng(bytesOf(entry.png));
    if (!decoded) throw new BenchError("is of another kind", entry.name);
    return { ...decoded, name: entry.name, note: entry.note };
  }
  async function openPicture(file) {
    if (file.size > MAX_BYTES2) {
      throw new BenchError(`is too large (${file.size} bytes)`, file.name, `up to ${MAX_BYTES2} bytes`);
    }
    const data = new Uint8Array(await file.arrayBuffer());
    let decoded;
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
  async function byBrowser(file) {
    let bitmap;
    try {
      bitmap = await createImageBitmap(file, {
        colorSpaceConversion: "none",
        premultiplyAlpha: "none"
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
  function reduced(picture) {
    const step = Math.ceil(Math.sqrt(picture.width * picture.height / WORKING_PIXELS));
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

  // src/signal.ts
  var BIT_DEPTHS = [8, 10, 12];
  var RANGE_BITS = 10;
  function rangeOf(bits, range) {
    const unit2 = 2 ** (bits - 8);
    return range === "full" ? [0, 2 ** bits - 1] : [16 * unit2, 235 * unit2];
  }
  function endsOf(range) {
    const peak = 2 ** RANGE_BITS - 1;
    const [low, high] = rangeOf(RANGE_BITS, range);
    return [low / peak, high / peak];
  }
  function signalFromValue(value, range) {
    const [low, high] = endsOf(range);
    return (value - low) / (high - low);
  }
  function valueFromSignal(signal, range) {
    const [low, high] = endsOf(range);
    return low + signal * (high - low);
  }
  function held(value, low, high) {
    return Math.min(Math.max(value, low), high);
  }
  function codeOf(signal, bits, range) {
    const [low, high] = rangeOf(bits, range);
    return Math.floor(held(low + signal * (high - low), 0, 2 ** bits - 1) + 0.5);
  }
  function readingOf(signal, ends = [0, 1]) {
    const recorded = held(signal, ends[0], ends[1]);
    const code = { full: {}, legal: {} };
    for (const bits of BIT_DEPTHS) {
      code.full[bits] = codeOf(recorded, bits, "full");
      code.legal[bits] = codeOf(recorded, bits, "legal");
    }
    return { signal, percent: 100 * recorded, code };
  }

  // src/source.ts
  var MID_GREY = 0.18;
  var STAND_IN_SIZE = 33;
  var SourceCurve = class {
    constructor(data) {
      this.data = data;
      this.light = unpack(data.light.table);
    }
    data;
    light;
    /** Light of a full-scale value. */
    decode(value) {
      const last = this.light.length - 1;
      const at = Math.min(Math.max(value, 0), 1) * last;
      const cell = Math.min(Math.floor(at), last - 1);
      return this.light[cell] + (at - cell) * (this.light[cell + 1] - this.light[cell]);
    }
    /** Full-scale value of light, clamped to 0..1: light beyond the recording clips. */
    encode(light) {
      const table = this.light;
      const last = table.length - 1;
      if (!(light > table[0])) return 0;
      if (light >= table[last]) return 1;
      let low = 0;
      let high = last;
      while (high - low > 1) {
        const middle = low + high >> 1;
        if (table[middle] <= light) low = middle;
        else high = middle;
      }
      const step = table[high] - table[low];
      return (low + (step > 0 ? (light - table[low]) / step : 0)) / last;
    }
    /** The full-scale values that the table's own become after `stops` more light. */
    exposed(stops) {
      const gain = 2 ** stops;
      return this.light.map((light) => this.encode(light * gain));
    }
    /** Light weighted as luminance. */
    luminance(values) {
      return values.reduce(
        (sum, value, channel) => sum + this.data.luminance[channel] * this.decode(value),
        0
      );
    }
    /** A lattice from an ordinary picture (sRGB signal) to this encoding. */
    standIn() {
      const size = STAND_IN_SIZE;
      const values = new Float32Array(3 * size ** 3);
      const light = Array.from({ length: size }, (_, at2) => srgbLight(at2 / (size - 1)));
      let at = 0;
      for (const red of light) {
        for (const green of light) {
          for (const blue of light) {
            for (const row of this.data.from_bt709) {
              values[at] = this.encode(row[0] * red + row[1] * green + row[2] * blue);
              at += 1;
            }
          }
        }
      }
      return { size, low: [0, 0, 0], high: [1, 1, 1], values };
    }
  };
  function srgbLight(signal) {
    return signal <= 0.04045 ? signal / 12.92 : ((signal + 0.055) / 1.055) ** 2.4;
  }
  function stopsOf(light) {
    return light > 0 ? Math.log2(light / MID_GREY) : -Infinity;
  }

  // src/shaders/develop.frag.glsl
  var develop_frag_default = "// A picture through a LUT: a curve, a lattice, or a curve before a lattice.\nuniform sampler2D picture;\nuniform sampler2D curve;\nuniform int curveSize;  // 0: none\nuniform vec3 curveLow;\nuniform vec3 curveScale;\nuniform sampler3D nodes;\nuniform int size;  // 0: none\nuniform bool straight;  // trilinear rather than tetrahedral\nuniform vec3 low;\nuniform vec3 scale;\nuniform vec2 ends;  // limits of the output\nout vec4 colour;\n\nvoid main() {\n  vec3 value = texelFetch(picture, ivec2(gl_FragCoord.xy), 0).rgb;\n  if (curveSize > 0) value = shaped(curve, (value - curveLow) * curveScale, curveSize);\n  vec3 steps = (value - low) * scale;\n  if (size > 0) value = straight ? trilinear(nodes, steps, size) : tetrahedral(nodes, steps, size);\n  colour = vec4(clamp(value, ends.x, ends.y), 1.0);\n}\n";

  // src/shaders/expose.frag.glsl
  var expose_frag_default = "// The recording with more or less light.\nuniform sampler2D picture;\nuniform sampler2D exposure;\nuniform int exposureSize;\nout vec4 colour;\n\nvoid main() {\n  vec3 value = texelFetch(picture, ivec2(gl_FragCoord.xy), 0).rgb;\n  colour = vec4(alongEach(exposure, value, exposureSize), 1.0);\n}\n";

  // src/shaders/present.frag.glsl
  var present_frag_default = "// What is shown: one picture, two by a wipe or side by side, or their difference.\nconst int ONE = 0;\nconst int WIPE = 1;\nconst int BESIDE = 2;\nconst int DIFFERENCE = 3;\nconst int ON_RECORDING = 1;\nconst int ON_VIEW = 2;\nconst vec3 LUMA = vec3(0.2126, 0.7152, 0.0722);  // Recommendation ITU-R BT.709\n\nuniform ivec2 extent;  // of the picture\nuniform int look;\nuniform bool stacked;\nuniform float wipe;\nuniform float gain;\n\nuniform sampler2D first;\nuniform sampler2D second;\nuniform sampler2D exposed;\nuniform vec2 firstEnds;  // values of signal 0 and 1\nuniform vec2 secondEnds;\nuniform vec2 sourceEnds;\nuniform sampler3D firstView;\nuniform sampler3D secondView;\nuniform ivec2 viewSizes;  // 0: shown as it is\n\nuniform bool wide;  // for the HDR canvas: HDR is shown as light\nuniform sampler2D firstLight;\nuniform sampler2D secondLight;\nuniform int firstLightSize;  // 0: not HDR\nuniform int secondLightSize;\nuniform vec4 firstOotf;  // weights of the luminance, and its power\nuniform vec4 secondOotf;\nuniform mat3 firstToScreen;\nuniform mat3 secondToScreen;\n\nuniform int zebra;\nuniform float zebraFrom;\nuniform float stripe;\n\nuniform int bandCount;  // 0: no false colour\nuniform sampler2D bands;  // first row: low, high and whether it shows clipping; second row: colour\nuniform float clipsFrom;  // the value of the highest code that is recorded\nuniform sampler2D light;\nuniform int lightSize;\nuniform vec3 luminance;\nuniform float moreStops;\nuniform sampler2D grey;\nuniform int greySize;\nuniform vec2 greyEnds;\n\nout vec4 colour;\n\nvec3 signalOf(vec3 value, vec2 ends) {\n  return (value - ends.x) / (ends.y - ends.x);\n}\n\n// Extended sRGB of the light of a display, 1.0 at the page's white.\nvec3 inLight(sampler2D table, int count, vec3 signal, vec4 ootf, mat3 toScreen) {\n  vec3 plain = alongEach(table, signal, count);\n  float weighed = dot(plain, ootf.rgb);\n  vec3 light = toScreen * (weighed > 0.0 ? plain * pow(weighed, ootf.a) : vec3(0.0));\n  vec3 size = abs(light);\n  vec3 curved = 1.055 * pow(max(size, 1e-9), vec3(1.0 / 2.4)) - 0.055;  // IEC 61966-2-1\n  return sign(light) * mix(12.92 * size, curved, vec3(greaterThan(size, vec3(0.0031308))));\n}\n\nvec3 falseColour(vec3 recorded) {\n  float level = dot(alongEach(light, recorded, lightSize), luminance);\n  float stops = level > 0.0 ? log2(level / 0.18) + moreStops : -1.0e30;\n  bool clips = any(greaterThanEqual(recorded, vec3(clipsFrom)));\n  int found = -1;\n  int marked = -1;\n  for (int band = 0; band < bandCount; band += 1) {\n    vec4 ends = texelFetch(bands, ivec2(band, 0), 0);\n    if (found < 0 && stops >= ends.x && stops < ends.y) found = band;\n    if (clips && ends.z > 0.0) marked = band;\n  }\n  if (marked >= 0) found = marked;\n  if (found >= 0) return texelFetch(bands, ivec2(found, 1), 0).rgb;\n  float place = (stops - greyEnds.x) / (greyEnds.y - greyEnds.x);\n  return vec3(along(grey, clamp(place, 0.0, 1.0) * float(greySize - 1), greySize, 0));\n}\n\nvec3 firstAt(ivec2 at) {\n  if (bandCount > 0) return falseColour(texelFetch(exposed, at, 0).rgb);\n  vec3 signal = signalOf(texelFetch(first, at, 0).rgb, firstEnds);\n  int size = viewSizes.x;\n  vec3 shown = size > 0 ? tetrahedral(firstView, signal * float(size - 1), size) : signal;\n  if (wide) {\n    shown = firstLightSize > 0\n      ? inLight(firstLight, firstLightSize, signal, firstOotf, firstToScreen)\n      : clamp(shown, 0.0, 1.0);\n  }\n  if (zebra == 0) return shown;\n  vec3 marked = zebra == ON_RECORDING ? signalOf(texelFetch(exposed, at, 0).rgb, sourceEnds) : signal;\n  float phase = fract(float(at.x + at.y) / stripe);\n  if (dot(marked, LUMA) < zebraFrom || phase >= 0.5) return shown;\n  return vec3(phase < 0.25 ? 0.0 : 1.0);\n}\n\nvec3 secondAt(ivec2 at) {\n  vec3 signal = signalOf(texelFetch(second, at, 0).rgb, secondEnds);\n  int size = viewSizes.y;\n  if (wide && secondLightSize > 0) {\n    return inLight(secondLight, secondLightSize, signal, secondOotf, secondToScreen);\n  }\n  vec3 shown = size > 0 ? tetrahedral(secondView, signal * float(size - 1), size) : signal;\n  return wide ? clamp(shown, 0.0, 1.0) : shown;\n}\n\nvec3 lookedAt(ivec2 at) {\n  if (look == BESIDE) {\n    bool later = stacked ? at.y >= extent.y : at.x >= extent.x;\n    if (!later) return firstAt(at);\n    return secondAt(at - (stacked ? ivec2(0, extent.y) : ivec2(extent.x, 0)));\n  }\n  if (look == WIPE) {\n    return float(at.x) + 0.5 < wipe * float(extent.x) ? firstAt(at) : secondAt(at);\n  }\n  if (look == DIFFERENCE) return 0.5 + gain * (firstAt(at) - secondAt(at));\n  return firstAt(at);\n}\n\nvoid main() {\n  int height = look == BESIDE && stacked ? 2 * extent.y : extent.y;\n  // A WebGL canvas starts at the bottom; the HDR canvas starts at the top.\n  int down = int(gl_FragCoord.y);\n  ivec2 at = ivec2(int(gl_FragCoord.x), wide ? down : height - 1 - down);\n  vec3 shown = lookedAt(at);\n  colour = vec4(wide ? shown : clamp(shown, 0.0, 1.0), 1.0);\n}\n";

  // src/shaders/lookup.glsl
  var lookup_default = "precision highp float;\nprecision highp int;\nprecision highp sampler2D;\nprecision highp sampler3D;\n\n// A curve's texels hold a value and the next one, ROW of them a line: one read a channel.\nconst int ROW = 1024;\n\nfloat along(sampler2D curve, float steps, int size, int line) {\n  float held = clamp(steps, 0.0, float(size - 1));\n  int cell = min(int(held), size - 2);\n  vec2 ends = texelFetch(curve, ivec2(cell % ROW, line + cell / ROW), 0).rg;\n  return mix(ends.x, ends.y, held - float(cell));\n}\n\n// The same curve for every channel, over values 0..1.\nvec3 alongEach(sampler2D curve, vec3 value, int size) {\n  vec3 steps = value * float(size - 1);\n  return vec3(\n    along(curve, steps.r, size, 0),\n    along(curve, steps.g, size, 0),\n    along(curve, steps.b, size, 0)\n  );\n}\n\n// A curve for each channel, one below the other.\nvec3 shaped(sampler2D curve, vec3 steps, int size) {\n  int lines = (size + ROW - 1) / ROW;\n  return vec3(\n    along(curve, steps.r, size, 0),\n    along(curve, steps.g, size, lines),\n    along(curve, steps.b, size, 2 * lines)\n  );\n}\n\n// Trilinear interpolation: eight reads.\nvec3 trilinear(sampler3D nodes, vec3 steps, int size) {\n  vec3 held = clamp(steps, 0.0, float(size - 1));\n  ivec3 cell = min(ivec3(held), size - 2);\n  vec3 f = held - vec3(cell);\n  vec3 sum = vec3(0.0);\n  for (int corner = 0; corner < 8; corner += 1) {\n    ivec3 end = ivec3(corner & 1, (corner >> 1) & 1, corner >> 2);\n    vec3 weight = mix(1.0 - f, f, vec3(end));\n    sum += weight.r * weight.g * weight.b * texelFetch(nodes, (cell + end).bgr, 0).rgb;\n  }\n  return sum;\n}\n\n// Tetrahedral interpolation: four reads. Blue runs fastest, so it is the texture's x.\nvec3 tetrahedral(sampler3D nodes, vec3 steps, int size) {\n  vec3 held = clamp(steps, 0.0, float(size - 1));\n  ivec3 cell = min(ivec3(held), size - 2);\n  vec3 f = held - vec3(cell);\n  float upper = max(f.r, f.g);\n  float lower = min(f.r, f.g);\n  float largest = max(upper, f.b);\n  float middle = max(min(upper, f.b), lower);\n  float smallest = min(lower, f.b);\n  ivec3 first = f.r >= f.g && f.r >= f.b ? ivec3(1, 0, 0)\n    : f.g >= f.b ? ivec3(0, 1, 0) : ivec3(0, 0, 1);\n  ivec3 final = f.r >= f.b && f.g >= f.b ? ivec3(0, 0, 1)\n    : f.r >= f.g ? ivec3(0, 1, 0) : ivec3(1, 0, 0);\n  ivec3 next = cell + 1;\n  return (1.0 - largest) * texelFetch(nodes, cell.bgr, 0).rgb\n    + (largest - middle) * texelFetch(nodes, (cell + first).bgr, 0).rgb\n    + (middle - smallest) * texelFetch(nodes, (next - final).bgr, 0).rgb\n    + smallest * texelFetch(nodes, next.bgr, 0).rgb;\n}\n";

  // src/shaders/whole.vert.glsl
  var whole_vert_default = "#version 300 es\n// One triangle that covers everything.\nvoid main() {\n  vec2 corner = vec2(gl_VertexID == 1 ? 3.0 : -1.0, gl_VertexID == 2 ? 3.0 : -1.0);\n  gl_Position = vec4(corner, 0.0, 1.0);\n}\n";

  // src/gl/context.ts
  var ROW = 1024;
  var FULL_FLOAT_NODES = 96;
  var Program = class {
    constructor(gl, program2) {
      this.gl = gl;
      this.program = program2;
    }
    gl;
    program;
    places = /* @__PURE__ */ new Map();
    units = 0;
    /** Start to set this program's uniforms. */
    use() {
      this.gl.useProgram(this.program);
      this.units = 0;
      return this;
    }
    at(name) {
      let place2 = this.places.get(name);
      if (place2 === void 0) {
        place2 = this.gl.getUniformLocation(this.program, name);
        this.places.set(name, place2);
      }
      return place2;
    }
    int(name, ...values) {
      if (values.length === 1) this.gl.uniform1i(this.at(name), values[0]);
      else this.gl.uniform2iv(this.at(name), values);
      return this;
    }
    float(name, ...values) {
      const place2 = this.at(name);
      if (values.length === 1) this.gl.uniform1f(place2, values[0]);
      else if (values.length === 2) this.gl.uniform2fv(place2, values);
      else if (values.length === 3) this.gl.uniform3fv(place2, values);
      else this.gl.uniform4fv(place2, values);
      return this;
    }
    /** A matrix by rows. */
    matrix(name, rows) {
      this.gl.uniformMatrix3fv(this.at(name), true, rows.flat());
      return this;
    }
    texture(name, texture, solid = false) {
      const { gl } = this;
      gl.activeTexture(gl.TEXTURE0 + this.units);
      gl.bindTexture(solid ? gl.TEXTURE_3D : gl.TEXTURE_2D, texture);
      gl.uniform1i(this.at(name), this.units);
      this.units += 1;
      return this;
    }
  };
  function shader(gl, type, text) {
    const made = gl.createShader(type);
    if (!made) throw new BenchError("the graphics context is lost");
    gl.shaderSource(made, text);
    gl.compileShader(made);
    if (!gl.getShaderParameter(made, gl.COMPILE_STATUS) && !gl.isContextLost()) {
      throw new BenchError(`a shader is refused: ${gl.getShaderInfoLog(made) ?? ""}`);
    }
    return made;
  }
  function program(gl, fragment, vertex = whole_vert_default) {
    const made = gl.createProgram();
    const versioned = fragment.startsWith("#version");
    const text = versioned ? fragment : `#version 300 es
${lookup_default}
${fragment}`;
    gl.attachShader(made, shader(gl, gl.VERTEX_SHADER, vertex));
    gl.attachShader(made, shader(gl, gl.FRAGMENT_SHADER, text));
    gl.linkProgram(made);
    if (!gl.getProgramParameter(made, gl.LINK_STATUS) && !gl.isContextLost()) {
      throw new BenchError(`a program is refused: ${gl.getProgramInfoLog(made) ?? ""}`);
    }
    return new Program(gl, made);
  }
  function plain(gl, kind) {
    const texture = gl.createTexture();
    gl.bindTexture(kind, texture);
    for (const name of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) {
      gl.texParameteri(kind, name, gl.NEAREST);
    }
    for (const name of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T, gl.TEXTURE_WRAP_R]) {
      gl.texParameteri(kind, name, gl.CLAMP_TO_EDGE);
    }
    return texture;
  }
  function floatTexture(gl, width, height, data) {
    const texture = plain(gl, gl.TEXTURE_2D);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA32F, width, height, 0, gl.RGBA, gl.FLOAT, data);
    return texture;
  }
  function videoTexture(gl) {
    return plain(gl, gl.TEXTURE_2D);
  }
  function curveTexture(gl, values, channels, old) {
    const size = values.length / channels;
    const lines = Math.ceil(size / ROW);
    const data = new Float32Array(2 * ROW * lines * channels);
    for (let channel = 0; channel < channels; channel += 1) {
      for (let at = 0; at < size; at += 1) {
        const to = 2 * (channel * lines * ROW + at);
        data[to] = values[at * channels + channel];
        data[to + 1] = values[Math.min(at + 1, size - 1) * channels + channel];
      }
    }
    const texture = old ?? plain(gl, gl.TEXTURE_2D);
    gl.bindTexture(gl.TEXTURE_2D, texture);
    const [width, height] = [ROW, lines * channels];
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RG32F, width, height, 0, gl.RG, gl.FLOAT, data);
    return texture;
  }
  function latticeTexture(gl, size, values) {
    const data = new Float32Array(4 * size ** 3);
    for (let node = 0; node < size ** 3; node += 1) {
      data.set(values.subarray(3 * node, 3 * node + 3), 4 * node);
    }
    const texture = plain(gl, gl.TEXTURE_3D);
    const format = size > FULL_FLOAT_NODES ? gl.RGBA16F : gl.RGBA32F;
    gl.texImage3D(gl.TEXTURE_3D, 0, format, size, size, size, 0, gl.RGBA, gl.FLOAT, data);
    return texture;
  }
  function targetFormat(gl) {
    if (gl.getExtension("EXT_color_buffer_float")) return { format: gl.RGBA32F, exact: true };
    if (gl.getExtension("EXT_color_buffer_half_float")) return { format: gl.RGBA16F, exact: false };
    return { format: gl.RGBA8, exact: false };
  }
  function target(gl, width, height, format) {
    const texture = plain(gl, gl.TEXTURE_2D);
    gl.texStorage2D(gl.TEXTURE_2D, 1, format, width, height);
    const buffer = gl.createFramebuffer();
    gl.bindFramebuffer(gl.FRAMEBUFFER, buffer);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, texture, 0);
    if (gl.checkFramebufferStatus(gl.FRAMEBUFFER) !== gl.FRAMEBUFFER_COMPLETE) {
      throw new BenchError("this device draws into no such texture");
    }
    return { texture, buffer, width, height };
  }
  function release(gl, old) {
    if (!old) return;
    gl.deleteFramebuffer(old.buffer);
    gl.deleteTexture(old.texture);
  }
  function cover(gl, into, width, height) {
    gl.bindFramebuffer(gl.FRAMEBUFFER, into ? into.buffer : null);
    gl.viewport(0, 0, width, height);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  // src/gl/gpulut.ts
  var FAR = 3e38;
  function scaleOf(table) {
    const steps = table.size - 1;
    return table.low.map((low, channel) => steps / (table.high[channel] - low));
  }
  var LutDrawer = class {
    constructor(gl, develop) {
      this.gl = gl;
      this.develop = develop;
      this.none2d = curveTexture(gl, new Float32Array(2), 1);
      this.none3d = latticeTexture(gl, 1, new Float32Array(3));
    }
    gl;
    develop;
    made = /* @__PURE__ */ new WeakMap();
    none2d;
    none3d;
    /** The texture of a lattice, or an empty one. */
    nodes(table) {
      return table ? this.texturesOf({ curve: null, lattice: table }, table).nodes ?? this.none3d : this.none3d;
    }
    get nothing() {
      return this.none2d;
    }
    texturesOf(lut, key = lut) {
      let found = this.made.get(key);
      if (!found) {
        const { curve, lattice } = lut;
        found = {
          curve: curve && curveTexture(this.gl, curve.values, 3),
          nodes: lattice && latticeTexture(this.gl, lattice.size, lattice.values)
        };
        this.made.set(key, found);
      }
      return found;
    }
    /** Draw `picture` through `lut` into `into`. */
    draw(lut, picture, into, interpolation = "tetrahedral") {
      const { curve, lattice } = lut;
      const textures = this.texturesOf(lut);
      this.develop.use().texture("picture", picture).texture("curve", textures.curve ?? this.none2d).int("curveSize", curve ? curve.size : 0).float("curveLow", ...curve?.low ?? [0, 0, 0]).float("curveScale", ...curve ? scaleOf(curve) : [1, 1, 1]).texture("nodes", textures.nodes ?? this.none3d, true).int("size", lattice ? lattice.size : 0).int("straight", interpolation === "trilinear" ? 1 : 0).float("low", ...lattice?.low ?? [0, 0, 0]).float("scale", ...lattice ? scaleOf(lattice) : [1, 1, 1]);
      if (lut.held) this.develop.float("ends", ...lut.held);
      else this.develop.float("ends", -FAR, FAR);
      cover(this.gl, into, into.width, into.height);
    }
    /**
     * The largest differences on colours between the nodes: of this device from the same LUT in
     * float64, and of the two interpolations from each other.
     */
    largestErrors(lut, format, interpolation) {
      const { gl } = this;
      const side = 16;
      const colours = new Float32Array(4 * side * side);
      for (let at = 0; at < side * side; at += 1) {
        const rgb = [0.8191725, 0.6710436, 0.5497005].map((step) => (0.5 + step * at) % 1);
        colours.set([...rgb, 1], 4 * at);
      }
      const picture = floatTexture(gl, side, side, colours);
      const into = target(gl, side, side, format);
      this.draw(lut, picture, into, interpolation);
      const drawn = readFloats(gl, into);
      release(gl, into);
      gl.deleteTexture(picture);
      const another = interpolation === "trilinear" ? "tetrahedral" : "trilinear";
      const worst = { drawn: 0, other: 0 };
      for (let at = 0; at < side * side; at += 1) {
        const rgb = [...colours.subarray(4 * at, 4 * at + 3)];
        const other = applyLut(lut, rgb, another);
        applyLut(lut, rgb, interpolation).forEach((value, channel) => {
          worst.drawn = Math.max(worst.drawn, Math.abs(value - drawn[4 * at + channel]));
          worst.other = Math.max(worst.other, Math.abs(value - other[channel]));
        });
      }
      return worst;
    }
  };
  function readFloats(gl, from, x = 0, y = 0, width = from.width, height = from.height) {
    gl.bindFramebuffer(gl.FRAMEBUFFER, from.buffer);
    if (gl.getParameter(gl.IMPLEMENTATION_COLOR_READ_TYPE) === gl.UNSIGNED_BYTE) {
      const codes = new Uint8Array(4 * width * height);
      gl.readPixels(x, y, width, height, gl.RGBA, gl.UNSIGNED_BYTE, codes);
      return Float32Array.from(codes, (code) => code / 255);
    }
    const values = new Float32Array(4 * width * height);
    gl.readPixels(x, y, width, height, gl.RGBA, gl.FLOAT, values);
    return values;
  }

  // src/gl/clock.ts
  var GpuClock = class {
    constructor(gl) {
      this.gl = gl;
      this.timer = gl.getExtension("EXT_disjoint_timer_query_webgl2");
    }
    gl;
    timer;
    running = null;
    waiting = [];
    /** Milliseconds of the last frame that was timed; null if the device does not report it. */
    last = null;
    start() {
      if (!this.timer || this.waiting.length > 2 || this.running) return;
      this.running = this.gl.createQuery();
      this.gl.beginQuery(this.timer.TIME_ELAPSED_EXT, this.running);
    }
    stop() {
      if (!this.timer || !this.running) return;
      this.gl.endQuery(this.timer.TIME_ELAPSED_EXT);
      this.waiting.push(this.running);
      this.running = null;
    }
    poll() {
      const { gl, timer } = this;
      if (!timer) return;
      const disjoint = gl.getParameter(timer.GPU_DISJOINT_EXT);
      this.waiting = this.waiting.filter((query) => {
        if (!gl.getQueryParameter(query, gl.QUERY_RESULT_AVAILABLE)) return true;
        const time = gl.getQueryParameter(query, gl.QUERY_RESULT);
        if (!disjoint) this.last = time / 1e6;
        gl.deleteQuery(query);
        return false;
      });
    }
  };

  // src/shaders/count.vert.glsl
  var count_vert_default = "#version 300 es\n// Every pixel as a point where a scope counts it: instances 0 to 3 are R, G, B and luma.\nprecision highp float;\nprecision highp int;\nprecision highp sampler2D;\n\nconst int WAVEFORM = 0;\nconst int VECTORSCOPE = 1;\nconst vec3 LUMA = vec3(0.2126, 0.7152, 0.0722);  // Recommendation ITU-R BT.709, item 3.2\nconst vec2 CHROMA = vec2(1.8556, 1.5748);  // item 3.3: (B' - Y') and (R' - Y') over these\n\nuniform sampler2D picture;\nuniform ivec2 extent;\nuniform int stride;\nuniform int kind;\nuniform int step;  // columns of the picture in one of the scope\nuniform ivec2 bins;\nuniform vec2 ends;\nflat out vec4 mark;\n\nint level(float value, int count) {\n  return clamp(int(floor(value * float(count - 1) + 0.5)), 0, count - 1);\n}\n\nvoid main() {\n  int across = (extent.x + stride - 1) / stride;\n  ivec2 at = ivec2(gl_VertexID % across, gl_VertexID / across) * stride;\n  vec3 value = texelFetch(picture, at, 0).rgb;\n  vec4 all = vec4(value, dot(value, LUMA));\n  ivec2 bin = ivec2(at.x / step, level(all[gl_InstanceID], bins.y));\n  if (kind == VECTORSCOPE) {\n    vec3 signal = (value - ends.x) / (ends.y - ends.x);\n    float luma = dot(signal, LUMA);\n    vec2 chroma = (signal.br - luma) / CHROMA;\n    // Zero chroma is at the centre of the middle bin.\n    vec2 place = vec2(bins / 2) + chroma * vec2(bins - 2);\n    bin = clamp(ivec2(floor(place + 0.5)), ivec2(0), bins - 1);\n  }\n  mark = vec4(equal(ivec4(gl_InstanceID), ivec4(0, 1, 2, 3)));\n  gl_PointSize = 1.0;\n  gl_Position = vec4((vec2(bin) + 0.5) / vec2(bins) * 2.0 - 1.0, 0.0, 1.0);\n}\n";

  // src/shaders/count.frag.glsl
  var count_frag_default = "#version 300 es\nprecision highp float;\nflat in vec4 mark;\nout vec4 colour;\n\nvoid main() {\n  colour = mark;\n}\n";

  // src/shaders/paint.frag.glsl
  var paint_frag_default = "// Counts as a trace: brighter where more pixels coincide.\nconst int WAVEFORM = 0;\nconst int PARADE = 1;\nconst int VECTORSCOPE = 2;\n\nuniform sampler2D counts;\nuniform ivec2 bins;\nuniform ivec2 area;\nuniform int scope;\nuniform float full;  // the count that is drawn at full brightness\nout vec4 colour;\n\n// Different in lightness as well as in hue; the strips are labelled too.\nconst vec3 INKS[4] = vec3[4](\n  vec3(1.0, 0.55, 0.42), vec3(0.52, 0.92, 0.62), vec3(0.55, 0.72, 1.0), vec3(0.93)\n);\n\nfloat trace(float count) {\n  return count > 0.0 ? clamp(0.16 + 0.84 * (1.0 - exp(-3.0 * count / full)), 0.0, 1.0) : 0.0;\n}\n\nvoid main() {\n  ivec2 at = ivec2(gl_FragCoord.xy);\n  vec3 ground = vec3(0.055);\n  vec3 ink = INKS[3];\n  float bright = 0.0;\n  if (scope == WAVEFORM) {\n    int column = at.x * bins.x / area.x;\n    bright = trace(texelFetch(counts, ivec2(column, at.y), 0).a);\n  } else if (scope == PARADE) {\n    int third = area.x / 3;\n    int channel = min(at.x / third, 2);\n    int start = (at.x - channel * third) * bins.x / third;\n    int stop = max((at.x + 1 - channel * third) * bins.x / third, start + 1);\n    float count = 0.0;\n    for (int column = start; column < stop; column += 1) {\n      count += texelFetch(counts, ivec2(min(column, bins.x - 1), at.y), 0)[channel];\n    }\n    bright = trace(count / 3.0);\n    ink = INKS[channel];\n  } else if (scope == VECTORSCOPE) {\n    bright = trace(texelFetch(counts, at, 0).r);\n  } else {\n    int strip = 3 - at.y / (area.y / 4);\n    float height = float(at.y % (area.y / 4)) / float(area.y / 4);\n    float count = texelFetch(counts, ivec2(0, at.x * bins.y / area.x), 0)[strip];\n    bright = count > 0.0 && height <= 0.92 * sqrt(min(count / full, 1.0)) ? 0.85 : 0.0;\n    ink = INKS[strip];\n  }\n  colour = vec4(mix(ground, ink, bright), 1.0);\n}\n";

  // src/gl/scopes.ts
  var SCOPES = ["waveform", "parade", "vectorscope", "histogram"];
  var LEVELS = 256;
  var COLUMNS = 640;
  var POINTS_IN_MOTION = 2e5;
  var KINDS = {
    waveform: { number: 0, width: COLUMNS, height: LEVELS, instances: 4 },
    vectorscope: { number: 1, width: LEVELS, height: LEVELS, instances: 1 },
    // One column: bins are counted as levels of a waveform that is one column wide.
    histogram: { number: 0, width: 1, height: LEVELS, instances: 4 }
  };
  var KIND_OF = {
    waveform: "waveform",
    parade: "waveform",
    vectorscope: "vectorscope",
    histogram: "histogram"
  };
  function areaOf(scope) {
    return scope === "vectorscope" ? [LEVELS, LEVELS] : [COLUMNS, LEVELS];
  }
  var ScopeDrawer = class {
    constructor(gl, exactTargets) {
      this.gl = gl;
      this.counting = program(gl, count_frag_default, count_vert_default);
      this.painting = program(gl, paint_frag_default);
      this.exact = exactTargets && gl.getExtension("EXT_float_blend") !== null;
    }
    gl;
    counting;
    painting;
    counts = /* @__PURE__ */ new Map();
    painted = /* @__PURE__ */ new Map();
    waiting = [];
    exact;
    countTarget(kind) {
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
    count(kind, { picture, ends }, inMotion) {
      const { gl } = this;
      const { number, width, instances } = KINDS[kind];
      const into = this.countTarget(kind);
      const all = picture.width * picture.height;
      const stride = inMotion ? Math.max(1, Math.ceil(Math.sqrt(all / POINTS_IN_MOTION))) : 1;
      const points = Math.ceil(picture.width / stride) * Math.ceil(picture.height / stride);
      const step = kind === "vectorscope" ? 1 : Math.max(stride, Math.ceil(picture.width / width));
      const columns = kind === "vectorscope" ? width : Math.ceil(picture.width / step);
      gl.bindFramebuffer(gl.FRAMEBUFFER, into.buffer);
      gl.viewport(0, 0, columns, into.height);
      gl.clearColor(0, 0, 0, 0);
      gl.clear(gl.COLOR_BUFFER_BIT);
      this.counting.use().texture("picture", picture.texture).int("extent", picture.width, picture.height).int("stride", stride).int("kind", number).int("step", step).int("bins", columns, into.height).float("ends", ...ends);
      gl.enable(gl.BLEND);
      gl.blendFunc(gl.ONE, gl.ONE);
      gl.drawArraysInstanced(gl.POINTS, 0, points, instances);
      gl.disable(gl.BLEND);
      return { points, columns };
    }
    /** The counts as they are: columns × levels × R G B luma, levels from the bottom up. */
    numbers(scope, measured) {
      const kind = KIND_OF[scope];
      const { columns } = this.count(kind, measured, false);
      const from = this.countTarget(kind);
      return { columns, counts: readFloats(this.gl, from, 0, 0, columns, from.height) };
    }
    /** Draw scopes; `done` gets each one's R G B A codes, the top line last, when they are ready. */
    draw(scopes, measured, inMotion, done) {
      const counted = /* @__PURE__ */ new Map();
      for (const scope of scopes) {
        const kind = KIND_OF[scope];
        const found = counted.get(kind) ?? this.count(kind, measured, inMotion);
        counted.set(kind, found);
        this.paint(scope, found, (pixels) => {
          done(scope, pixels);
        });
      }
    }
    paint(scope, { points, columns }, done) {
      const { gl } = this;
      const counts = this.countTarget(KIND_OF[scope]);
      const [width, height] = areaOf(scope);
      const into = this.painted.get(scope) ?? target(gl, width, height, gl.RGBA8);
      this.painted.set(scope, into);
      const full = { waveform: points / columns / 10, vectorscope: points / 400, histogram: points / 12 };
      this.painting.use().texture("counts", counts.texture).int("bins", columns, counts.height).int("area", width, height).int("scope", SCOPES.indexOf(scope)).float("full", Math.max(full[KIND_OF[scope]], 1));
      cover(gl, into, width, height);
      this.fetch(into, done);
    }
    /** Ask for a target's pixels without waiting for them. */
    fetch(from, done) {
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
    poll() {
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
  };

  // src/gl/engine.ts
  var LOOKS = ["one", "wipe", "beside", "difference"];
  var NO_MATRIX = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
  var STRIPES = 60;
  var Engine = class {
    constructor(canvas) {
      this.canvas = canvas;
      const gl = canvas.getContext("webgl2", {
        alpha: false,
        antialias: false,
        depth: false,
        stencil: false,
        preserveDrawingBuffer: true
      });
      if (!gl) throw new BenchError("this browser has no WebGL 2: the bench cannot draw");
      this.gl = gl;
      gl.disable(gl.DITHER);
      const { format, exact } = targetFormat(gl);
      this.format = format;
      this.exact = exact;
      this.luts = new LutDrawer(gl, program(gl, develop_frag_default));
      this.exposing = program(gl, expose_frag_default);
      this.presenting = program(gl, present_frag_default);
      this.scopes = new ScopeDrawer(gl, exact);
      this.clock = new GpuClock(gl);
      this.exposure = curveTexture(gl, new Float32Array(2), 1);
    }
    canvas;
    gl;
    format;
    exact;
    scopes;
    luts;
    clock;
    exposing;
    presenting;
    exposure;
    recorded = null;
    exposed = null;
    developed = [null, null];
    video = null;
    scene = null;
    light = null;
    marks = null;
    lit = null;
    lights = /* @__PURE__ */ new WeakMap();
    get width() {
      return this.recorded?.width ?? 0;
    }
    get height() {
      return this.recorded?.height ?? 0;
    }
    recordingTarget(width, height) {
      if (this.recorded?.width === width && this.recorded.height === height) return this.recorded;
      for (const old of [this.recorded, this.exposed, ...this.developed]) release(this.gl, old);
      this.exposed = null;
      this.developed.fill(null);
      this.recorded = target(this.gl, width, height, this.format);
      return this.recorded;
    }
    /** Use a picture as the recording; with `standIn` it is first encoded by that lattice. */
    setPicture(picture, standIn) {
      const { gl } = this;
      const most = gl.getParameter(gl.MAX_TEXTURE_SIZE);
      if (Math.max(picture.width, picture.height) > most) {
        throw new BenchError(`${picture.width} × ${picture.height} pixels`, picture.name, `up to ${most}`);
      }
      this.stopVideo();
      const texture = floatTexture(gl, picture.width, picture.height, picture.pixels);
      this.luts.draw({ curve: null, lattice: standIn }, texture, this.recordingTarget(picture.width, picture.height));
      gl.deleteTexture(texture);
    }
    /** Use the frames of a video, each encoded by `table`. */
    setVideo(element, table) {
      this.stopVideo();
      this.video = { element, texture: videoTexture(this.gl), table };
    }
    stopVideo() {
      if (this.video) this.gl.deleteTexture(this.video.texture);
      this.video = null;
    }
    takeFrame() {
      if (!this.video || this.video.element.readyState < 2) return;
      const { gl } = this;
      const { element, texture, table } = this.video;
      gl.bindTexture(gl.TEXTURE_2D, texture);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, gl.RGBA, gl.UNSIGNED_BYTE, element);
      const into = this.recordingTarget(element.videoWidth, element.videoHeight);
      this.luts.draw({ curve: null, lattice: table }, texture, into);
    }
    /** Draw a scene on the canvas. */
    draw(scene) {
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
    expose({ source, stops }) {
      const { gl, recorded } = this;
      if (!recorded) throw new BenchError("there is no picture");
      if (!source || stops === 0) return recorded;
      this.exposed ??= target(gl, recorded.width, recorded.height, this.format);
      const values = source.exposed(stops);
      curveTexture(gl, values, 1, this.exposure);
      this.exposing.use().texture("picture", recorded.texture).texture("exposure", this.exposure).int("exposureSize", values.length);
      cover(gl, this.exposed, recorded.width, recorded.height);
      return this.exposed;
    }
    develop(which, { lut }, exposed, by) {
      if (!lut) return exposed;
      const into = this.developed[which] ?? target(this.gl, exposed.width, exposed.height, this.format);
      this.developed[which] = into;
      this.luts.draw(lut, exposed.texture, into, by);
      return into;
    }
    present(scene, [first, second, exposed]) {
      const { gl, canvas, luts } = this;
      const { width, height } = exposed;
      const across = scene.look === "beside" && !scene.stacked ? 2 : 1;
      const down = scene.look === "beside" && scene.stacked ? 2 : 1;
      if (canvas.width !== width * across) canvas.width = width * across;
      if (canvas.height !== height * down) canvas.height = height * down;
      const lit = scene.wide ? this.litTarget(canvas.width, canvas.height) : null;
      this.presenting.use().int("extent", width, height).int("look", LOOKS.indexOf(scene.look)).int("stacked", scene.stacked ? 1 : 0).float("wipe", scene.wipe).float("gain", scene.gain).texture("first", first.texture).texture("second", second.texture).texture("exposed", exposed.texture).float("firstEnds", ...scene.first.ends).float("secondEnds", ...scene.second.ends).float("sourceEnds", ...scene.sourceEnds).texture("firstView", luts.nodes(scene.first.view), true).texture("secondView", luts.nodes(scene.second.view), true).int("viewSizes", scene.first.view?.size ?? 0, scene.second.view?.size ?? 0).int("wide", 0).int("zebra", scene.zebra).float("zebraFrom", scene.zebraFrom).float("stripe", Math.max(4, height / STRIPES));
      this.bands(scene);
      this.lightOf("first", scene.wide ? scene.first.light : null);
      this.lightOf("second", scene.wide ? scene.second.light : null);
      cover(gl, null, canvas.width, canvas.height);
      if (!lit) return;
      this.presenting.int("wide", 1);
      cover(gl, lit, lit.width, lit.height);
    }
    lightOf(which, light) {
      let found = light && this.lights.get(light);
      if (light && !found) {
        const values = unpack(light.table);
        found = { texture: curveTexture(this.gl, values, 1), size: values.length };
        this.lights.set(light, found);
      }
      this.presenting.texture(`${which}Light`, found?.texture ?? this.luts.nothing).int(`${which}LightSize`, found?.size ?? 0).float(`${which}Ootf`, ...light?.weights ?? [0, 0, 0], light?.power ?? 0).matrix(`${which}ToScreen`, light?.matrix ?? NO_MATRIX);
    }
    /** The target that `lightShown` reads. */
    litTarget(width, height) {
      if (this.lit?.width === width && this.lit.height === height) return this.lit;
      release(this.gl, this.lit);
      this.lit = target(this.gl, width, height, this.gl.RGBA16F);
      return this.lit;
    }
    /** Whether this device draws and reads half floats, which the HDR canvas needs. */
    static halves(gl) {
      const tried = target(gl, 1, 1, gl.RGBA16F);
      const type = gl.getParameter(gl.IMPLEMENTATION_COLOR_READ_TYPE);
      const format = gl.getParameter(gl.IMPLEMENTATION_COLOR_READ_FORMAT);
      release(gl, tried);
      return type === gl.HALF_FLOAT && format === gl.RGBA;
    }
    /** The last picture for the HDR canvas: half floats, R G B A, the top line first. */
    lightShown() {
      const { gl, lit } = this;
      if (!lit || !this.scene?.wide) return null;
      const { width, height } = lit;
      const halves = new Uint16Array(4 * width * height);
      gl.bindFramebuffer(gl.FRAMEBUFFER, lit.buffer);
      gl.readPixels(0, 0, width, height, gl.RGBA, gl.HALF_FLOAT, halves);
      return { halves, width, height };
    }
    bands({ falseColour, source }) {
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
      this.presenting.texture("bands", this.marks.bands).float("clipsFrom", falseColour.clips_from).texture("light", this.light.texture).int("lightSize", source.light.length).float("luminance", ...source.data.luminance).float("moreStops", falseColour.exposure).texture("grey", this.marks.grey).int("greySize", this.marks.size).float("greyEnds", falseColour.grey.from, falseColour.grey.to);
    }
    /** What the scopes measure: the picture drawn last, before its conversion for the screen. */
    measured() {
      const { scene } = this;
      if (!scene || !this.recorded) return null;
      const exposed = scene.source && scene.stops !== 0 ? this.exposed : this.recorded;
      const which = scene.measureSecond && scene.look !== "one" ? 1 : 0;
      const { lut, ends } = which ? scene.second : scene.first;
      const picture = lut ? this.developed[which] : exposed;
      return picture && { picture, ends };
    }
    /** The exposed recording at a pixel (0, 0 is top left), full-scale values. */
    valueAt(x, y) {
      const from = this.scene?.source && this.scene.stops !== 0 ? this.exposed : this.recorded;
      if (!from) throw new BenchError("there is no picture");
      const [r, g, b] = readFloats(this.gl, from, x, y, 1, 1);
      return [r, g, b];
    }
    /** Texels read for one pixel of the picture by the passes of a scene. */
    static reads(scene) {
      const corners = scene.interpolation === "trilinear" ? 8 : 4;
      const develop = ({ lut }) => lut ? 1 + (lut.curve ? 3 : 0) + (lut.lattice ? corners : 0) : 0;
      const show = ({ view }) => 1 + (view ? 4 : 0);
      const two = scene.look !== "one";
      const exposing = scene.source && scene.stops !== 0 ? 1 + 3 : 0;
      const marking = (scene.falseColour ? 1 + 3 + scene.falseColour.bands.length + 1 : 0) + (scene.zebra === 1 ? 1 : 0);
      const second = two ? develop(scene.second) + show(scene.second) : 0;
      return exposing + develop(scene.first) + show(scene.first) + second + marking;
    }
  };
  function bandTexture(gl, { bands }) {
    const far = 1e30;
    const ends = bands.flatMap((band) => [band.low ?? -far, band.high ?? far, band.clips ? 1 : 0, 0]);
    const colours = bands.flatMap((band) => [...coloursOf(band.colour), 1]);
    return floatTexture(gl, bands.length, 2, Float32Array.from([...ends, ...colours]));
  }
  function coloursOf(text) {
    const number = Number.parseInt(text.slice(1), 16);
    return [number >> 16, number >> 8 & 255, number & 255].map((code) => code / 255);
  }

  // src/state.ts
  var ZEBRAS = ["off", "recording", "view"];
  var SIDES = ["first", "second"];
  var MOST_STOPS = 8;
  var GAINS = [1, 4, 16, 64];
  var ENLARGEMENTS = [1, 2, 4, 8];
  var START = {
    still: "",
    lut: "",
    against: "",
    look: "one",
    wipe: 0.5,
    gain: 4,
    interpolation: "tetrahedral",
    hdr: true,
    stops: 0,
    ladder: false,
    bands: false,
    zebra: "off",
    zebraAt: 70,
    scopes: ["waveform"],
    measured: "first",
    bits: 10,
    enlarge: 1,
    x: -1,
    y: -1
  };
  function fragmentOf(state, start2) {
    const words2 = new URLSearchParams();
    for (const key of Object.keys(start2)) {
      const [value, usual] = [String(state[key]), String(start2[key])];
      if (value !== usual) words2.set(key, value);
    }
    return words2.toString();
  }
  function stateOf(fragment, start2, stills, luts) {
    const words2 = new URLSearchParams(fragment.replace(/^#/, ""));
    const one = (key, known, usual) => known.find((each) => each === words2.get(key)) ?? usual;
    const number = (key, low, high) => {
      const text = words2.get(key);
      const value = text ? Number(text) : NaN;
      return value >= low && value <= high ? value : start2[key];
    };
    const choice = (key, known) => {
      const value = Number(words2.get(key) ?? NaN);
      return known.includes(value) ? value : start2[key];
    };
    const flag = (key) => words2.has(key) ? words2.get(key) === "true" : start2[key];
    const scopes = words2.get("scopes")?.split(",");
    return {
      still: one("still", stills, start2.still),
      lut: one("lut", ["", ...luts], start2.lut),
      against: one("against", ["", ...luts], start2.against),
      look: one("look", LOOKS, start2.look),
      wipe: number("wipe", 0, 1),
      gain: choice("gain", GAINS),
      interpolation: one("interpolation", INTERPOLATIONS, start2.interpolation),
      hdr: flag("hdr"),
      stops: number("stops", -MOST_STOPS, MOST_STOPS),
      ladder: flag("ladder"),
      bands: flag("bands"),
      zebra: one("zebra", ZEBRAS, start2.zebra),
      zebraAt: number("zebraAt", 0, 109),
      scopes: scopes ? SCOPES.filter((each) => scopes.includes(each)) : start2.scopes,
      measured: one("measured", SIDES, start2.measured),
      bits: choice("bits", [8, 10]),
      enlarge: choice("enlarge", ENLARGEMENTS),
      x: Math.round(number("x", -1, 65535)),
      y: Math.round(number("y", -1, 65535))
    };
  }

  // src/bench.ts
  var Bench = class {
    constructor(data, engine) {
      this.engine = engine;
      this.data = data;
      this.start = { ...START };
      this.state = this.start;
      this.take(data);
      this.state = this.fromAddress();
    }
    engine;
    data;
    state;
    start;
    source = null;
    shelves = [];
    pictures = /* @__PURE__ */ new Map();
    /** Whether the picture is an ordinary one, encoded by the page as a stand-in for log. */
    ordinary = /* @__PURE__ */ new Set();
    camera = null;
    /** Whether the screen that the page is on shows more than standard range. */
    highRange = false;
    /** Null if this browser cannot draw brighter than white, or until that is known. */
    hdr = null;
    message = "";
    inMotion = false;
    /** While held, the other picture is shown. */
    swapped = false;
    portrait = false;
    loaded = "";
    views = /* @__PURE__ */ new Map();
    listeners = [];
    onChange(listener) {
      this.listeners.push(listener);
    }
    /** Use a set: at the start, and again when the served one has changed. */
    take(data) {
      const before = new Map(this.data.stills.map((still) => [still.name, still.png]));
      this.data = data;
      this.source = data.sources.length ? new SourceCurve(data.sources[0]) : null;
      this.views.clear();
      this.shelves = [...data.luts.map((entry) => this.shelfOf(entry)), ...this.dropped()];
      for (const { name, png } of data.stills) if (before.get(name) !== png) this.pictures.delete(name);
      this.loaded = "";
      this.start = {
        ...START,
        still: data.stills[0]?.name ?? "",
        lut: this.shelves[0]?.name ?? ""
      };
    }
    dropped() {
      return this.shelves.filter((shelf) => !shelf.entry);
    }
    shelfOf(entry) {
      let lut = null;
      const view = entry.view ? this.data.views[entry.view] : null;
      return {
        name: entry.name,
        title: entry.title,
        entry,
        lut: () => lut ??= lutOf(entry),
        range: entry.target_range,
        view: entry.view && view ? this.viewOf(entry.view) : null,
        viewLabel: view?.label ?? "",
        light: view?.light ?? null
      };
    }
    viewOf(name) {
      const found = this.views.get(name) ?? tableOf2(this.data.views[name].lattice);
      this.views.set(name, found);
      return found;
    }
    fromAddress() {
      const stills = [...this.data.stills.map((still) => still.name), ...this.pictures.keys()];
      return stateOf(location.hash, this.start, stills, this.shelves.map((shelf) => shelf.name));
    }
    set(change) {
      this.state = { ...this.state, ...change };
      const fragment = fragmentOf(this.state, this.start);
      history.replaceState(null, "", fragment ? `#${fragment}` : location.pathname + location.search);
      this.tell();
    }
    say(message) {
      this.message = message;
      this.tell();
    }
    tell() {
      for (const listener of this.listeners) listener(this);
    }
    shelf(name) {
      return this.shelves.find((shelf) => shelf.name === name) ?? null;
    }
    /** The LUT in use: of a ladder, the one that best compensates for the exposure. */
    chosen() {
      const chosen = this.shelf(this.state.lut);
      const rungs = this.rungs(chosen);
      if (!this.state.ladder || !rungs.length) return chosen;
      const away = (shelf) => Math.abs((shelf.entry?.exposure ?? 0) + this.state.stops);
      return rungs.reduce((best, each) => away(each) < away(best) ? each : best);
    }
    /** The LUTs that differ from this one only in exposure, with itself. */
    rungs(shelf) {
      const ladder = shelf?.entry?.ladder ?? null;
      return ladder === null ? [] : this.shelves.filter((each) => each.entry?.ladder === ladder);
    }
    through(shelf) {
      if (!shelf) return { lut: null, ends: this.sourceEnds(), view: null, light: null };
      return { lut: shelf.lut(), ends: endsOf(shelf.range), view: shelf.view, light: shelf.light };
    }
    sourceEnds() {
      return endsOf(this.source?.data.range ?? "full");
    }
    /** The LUTs whose pictures are shown now; null is the recording. */
    shown() {
      const both = [this.chosen(), this.shelf(this.state.against)];
      if (this.swapped) return [both[1]];
      return this.state.look === "one" ? [both[0]] : both;
    }
    /** What the scopes measure. */
    measuredShelf() {
      const shown2 = this.shown();
      return shown2[this.state.measured === "second" ? shown2.length - 1 : 0];
    }
    hdrAble() {
      return this.highRange && this.hdr !== null;
    }
    /** Whether HDR is shown as HDR now, rather than tone-mapped. */
    inLight() {
      const able = this.state.hdr && this.hdrAble();
      const difference = this.state.look === "difference" && !this.swapped;
      return able && !difference && this.shown().some((shelf) => shelf?.light);
    }
    /** How the picture is converted for the screen; empty if its codes are shown directly. */
    viewWords() {
      const light = this.inLight();
      const labels2 = this.shown().map((shelf) => light && shelf?.light ? shelf.light.label : shelf?.viewLabel ?? "");
      return [...new Set(labels2.filter(Boolean))].join(" · ");
    }
    scene() {
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
        falseColour: state.bands ? this.data.false_colour : null
      };
    }
    /** Load the chosen still, unless it is loaded already. */
    async showStill() {
      const name = this.state.still;
      const ordinary = this.ordinary.has(name);
      const key = `${name}
${ordinary}`;
      if (this.camera || this.loaded === key || !name) return;
      this.loaded = key;
      const entry = this.data.stills.find((still) => still.name === name);
      const picture = this.pictures.get(name) ?? (entry && await pictureOf(entry));
      if (!picture || this.state.still !== name) return;
      this.pictures.set(name, picture);
      this.engine.setPicture(picture, ordinary ? this.source?.standIn() ?? null : null);
      this.tell();
    }
    setOrdinary(on) {
      if (on) this.ordinary.add(this.state.still);
      else this.ordinary.delete(this.state.still);
      this.tell();
    }
    /** Open a dropped file: a `.cube` LUT or a picture. */
    async open(file) {
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
    async openCube(file) {
      const name = harmless(file.name);
      const { lut, title } = parseCube(new Uint8Array(await file.arrayBuffer()), name);
      this.shelves = this.shelves.filter((shelf) => shelf.entry ?? shelf.name !== name);
      if (this.shelf(name)) throw new BenchError("a LUT of the set has this name", name, "another name");
      const given = { name, title, entry: null, range: "full", view: null, viewLabel: "", light: null };
      this.shelves.push({ ...given, lut: () => lut });
      this.set({ lut: name });
    }
    async startCamera() {
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
    stopCamera() {
      const stream = this.camera?.srcObject;
      if (stream instanceof MediaStream) for (const track of stream.getTracks()) track.stop();
      this.camera = null;
      this.engine.stopVideo();
      this.loaded = "";
    }
    /** The pixel x, y of the exposed recording. */
    probe(x, y) {
      const { engine, source } = this;
      if (x < 0 || y < 0 || x >= engine.width || y >= engine.height) return null;
      const value = engine.valueAt(x, y);
      const shelf = this.chosen();
      return { x, y, ...this.readings(value, shelf), ...this.lightOf(value, source) };
    }
    /** The figures of a full-scale value, recorded and after a LUT. */
    readings(value, shelf) {
      const range = this.source?.data.range ?? "full";
      const after = shelf ? applyLut(shelf.lut(), value, this.state.interpolation) : value;
      const out = shelf ? shelf.range : range;
      return {
        recorded: value.map((each) => readingOf(signalFromValue(each, range), this.source?.data.ends)),
        after: after.map((each) => readingOf(signalFromValue(each, out)))
      };
    }
    lightOf(value, source) {
      if (!source) return { stops: null, nearest: null };
      const stops = stopsOf(source.luminance(value));
      let nearest = null;
      for (const level of source.data.levels.levels) {
        if (/^[+-]/.test(level.label)) continue;
        const away = level.stops === null ? Infinity : stops - level.stops;
        if (Math.abs(away) < Math.abs(nearest?.away ?? Infinity)) nearest = { level, away };
      }
      const dark = source.data.levels.levels.find((level) => level.stops === null);
      if (!nearest && dark) nearest = { level: dark, away: 0 };
      return { stops, nearest };
    }
  };

  // src/gl/hdr.ts
  var HdrCanvas = class _HdrCanvas {
    constructor(canvas, device, context) {
      this.canvas = canvas;
      this.device = device;
      this.context = context;
    }
    canvas;
    device;
    context;
    /** The canvas, or null if this browser has none; `gone` is called when it is lost. */
    static async open(canvas, gone) {
      const gpu = navigator.gpu;
      const device = await (await gpu?.requestAdapter())?.requestDevice();
      const context = canvas.getContext("webgpu");
      if (!device || !context) return null;
      context.configure({
        device,
        format: "rgba16float",
        usage: GPUTextureUsage.COPY_DST | GPUTextureUsage.RENDER_ATTACHMENT,
        colorSpace: "srgb",
        toneMapping: { mode: "extended" }
      });
      const used = typeof context.getConfiguration === "function" ? context.getConfiguration() : null;
      if (used?.toneMapping?.mode !== "extended") return null;
      void device.lost.then(gone);
      return new _HdrCanvas(canvas, device, context);
    }
    /** Show half floats, R G B A, the top line first, extended sRGB: 1.0 is the page's white. */
    show(halves, width, height) {
      const { canvas, context, device } = this;
      if (canvas.width !== width) canvas.width = width;
      if (canvas.height !== height) canvas.height = height;
      const texture = context.getCurrentTexture();
      device.queue.writeTexture({ texture }, halves, { bytesPerRow: 8 * width }, [width, height]);
    }
  };

  // src/live.ts
  function follow(bench) {
    const { live } = bench.data;
    if (!live) return;
    const events = new EventSource(live.events);
    events.addEventListener("changed", (event) => {
      void (async () => {
        const version = event instanceof MessageEvent ? Number(event.data) : -1;
        if (version === bench.data.live?.version && !bench.message) return;
        const answer = await fetch(live.data);
        if (!answer.ok) return;
        const state = bench.state;
        bench.take(await answer.json());
        const known = bench.shelf(state.lut) ? state.lut : bench.start.lut;
        bench.message = "";
        bench.set({ ...state, lut: known });
      })();
    });
    events.addEventListener("fault", (event) => {
      if (event instanceof MessageEvent) bench.say(String(event.data));
    });
  }

  // src/ui/dom.ts
  function el(name, settings = {}, ...children) {
    const made = document.createElement(name);
    if (settings.class) made.className = settings.class;
    if (settings.id) made.id = settings.id;
    if (settings.text !== void 0) made.textContent = settings.text;
    for (const [key, value] of Object.entries(settings.set ?? {})) made.setAttribute(key, value);
    for (const [key, handler] of Object.entries(settings.on ?? {})) made.addEventListener(key, handler);
    made.append(...children.filter((child) => child !== null));
    return made;
  }
  function svg(name, set, text = "") {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(set)) made.setAttribute(key, String(value));
    if (text) made.textContent = text;
    return made;
  }
  function retext(element, text) {
    if (element.textContent !== text) element.textContent = text;
  }
  var labels = 0;
  function labelled(label, control, ...more) {
    labels += 1;
    control.id ||= `control-${labels}`;
    const name = el("label", { text: label, set: { for: control.id } });
    return el("div", { class: "control" }, name, el("div", { class: "row" }, control, ...more));
  }
  var Choice = class {
    element;
    inputs = /* @__PURE__ */ new Map();
    constructor(legend, choices, chosen) {
      labels += 1;
      const group = `choice-${labels}`;
      const options = choices.map(([value, text]) => {
        const input = el("input", {
          set: { type: "radio", name: group, value },
          on: { change: () => {
            chosen(value);
          } }
        });
        this.inputs.set(value, input);
        return el("label", {}, input, el("span", { text }));
      });
      const title = el("legend", { text: legend });
      this.element = el("fieldset", { class: "choice" }, title, el("div", { class: "options" }, ...options));
    }
    show(value) {
      const input = this.inputs.get(value);
      if (input) input.checked = true;
    }
  };
  var Tick = class {
    element;
    input;
    constructor(label, changed) {
      this.input = el("input", {
        set: { type: "checkbox" },
        on: { change: () => {
          changed(this.input.checked);
        } }
      });
      this.element = el("label", { class: "tick" }, this.input, el("span", { text: label }));
    }
    show(on, able = true) {
      this.input.checked = on;
      this.input.disabled = !able;
    }
  };
  var Slider = class {
    constructor(label, { low, high, step }, words2, moved) {
      this.words = words2;
      this.input = el("input", {
        set: { type: "range", min: String(low), max: String(high), step: String(step) },
        on: { input: () => {
          moved(Number(this.input.value));
        } }
      });
      this.value = el("output", { class: "value" });
      this.element = labelled(label, this.input, this.value);
      this.value.setAttribute("for", this.input.id);
    }
    words;
    element;
    input;
    value;
    show(value, able = true) {
      this.input.value = String(value);
      this.input.disabled = !able;
      this.input.setAttribute("aria-valuetext", this.words(value));
      retext(this.value, this.words(value));
    }
  };
  var Picker = class {
    element;
    select;
    known = "";
    constructor(label, chosen, ...more) {
      this.select = el("select", { on: { change: () => {
        chosen(this.select.value);
      } } });
      this.element = labelled(label, this.select, ...more);
    }
    show(choices, value) {
      const known = JSON.stringify(choices);
      if (known !== this.known) {
        this.known = known;
        this.select.replaceChildren(
          ...choices.map(([name, text]) => el("option", { text, set: { value: name } }))
        );
      }
      this.select.value = value;
    }
  };
  function section(title, name, ...children) {
    const heading = el("h2", { text: title, id: `${name}-title` });
    const set = { "aria-labelledby": heading.id };
    return el("section", { id: name, set }, heading, ...children);
  }
  function button(text, pressed, set = {}) {
    return el("button", { text, set: { type: "button", ...set }, on: { click: pressed } });
  }

  // src/ui/words.ts
  function signed(value, digits) {
    const text = value.toFixed(digits);
    if (Number(text) === 0) return 0 .toFixed(digits);
    return value > 0 ? `+${text}` : text.replace("-", "−");
  }
  function stopsWords(stops, digits = 1) {
    if (stops === null || !Number.isFinite(stops)) return "no light";
    return `${signed(stops, digits)} ${Math.abs(Number(stops.toFixed(digits))) === 1 ? "stop" : "stops"}`;
  }
  function unbroken(text) {
    return text.replace(/(\d) (?=%|stops?\b|codes?\b|cd\/m²|bit\b)/g, "$1 ");
  }
  function labelWords(label) {
    return label.replace(/^-/, "−");
  }

  // src/ui/card.ts
  function cardPanel(bench) {
    const name = el("p", { class: "name" });
    const body = el("div");
    let shown2;
    let bits = 0;
    bench.onChange(() => {
      const shelf = bench.chosen();
      if (shelf === shown2 && bits === bench.state.bits) return;
      shown2 = shelf;
      bits = bench.state.bits;
      name.textContent = shelf ? shelf.title || shelf.name : "As recorded";
      body.replaceChildren(...shelf ? partsOf(shelf, bits) : recordedParts(bench, bits));
    });
    return section("This LUT", "card", name, body);
  }
  function recordedParts(bench, bits) {
    const source = bench.source?.data;
    if (!source) return [el("p", { text: "The recording as it is. Its curve is not known." })];
    const words2 = `${source.curve}, ${source.gamut}, ${source.range} range (${source.told}).`;
    return [el("p", { text: words2 }), levelTable(source.levels.levels, bits)];
  }
  function partsOf(shelf, bits) {
    const { entry } = shelf;
    if (!entry) {
      return [el("p", { text: "Opened in this page and not inspected. `lutbench inspect` says what it does." })];
    }
    const { inspection, levels } = entry;
    const parts = [el("p", { text: unbroken(inspection.verdict) })];
    parts.push(boxOf(inspection.box));
    parts.push(findingList(inspection.findings));
    if (levels) parts.push(levelTable(levels.levels, bits));
    const packed = `The table in this page is within ${entry.packing_error.toPrecision(1)} 10-bit codes of the file`;
    const sampled = entry.sampling_error === null ? "" : `; a chain of steps, sampled as a lattice, is within ${entry.sampling_error.toPrecision(2)} codes on the test colours`;
    parts.push(el("p", { class: "note", text: `${packed}${sampled}.` }));
    return parts;
  }
  function boxOf(box) {
    const rows = [
      ["expects", box.expects],
      ["set the monitor to", box.monitor],
      ["zebra", box.zebra ?? ""],
      ["good for", box.good_for],
      [box.usable ? "not for" : "fault", box.not_for.join("; ")],
      [box.usable ? "not sure" : "cure", box.unsure ?? ""]
    ];
    const filled = rows.filter(([, text]) => text);
    return el("dl", {}, ...filled.flatMap(([name, text]) => [el("dt", { text: name }), el("dd", { text: unbroken(text) })]));
  }
  function findingList(findings) {
    if (!findings.length) return el("p", { text: "Findings: none." });
    const items = findings.map((each) => {
      const mark = el("strong", { class: `severity ${each.severity}`, text: each.severity });
      return el("li", {}, mark, el("span", { text: ` ${unbroken(each.message)}` }), advice(each));
    });
    return el("ul", { class: "findings" }, ...items);
  }
  function advice({ advice: text }) {
    return text ? el("span", { class: "note", text: ` ${unbroken(text)}.` }) : null;
  }
  function levelTable(levels, bits) {
    const after = levels.some((level) => level.after_lut !== null);
    const percents = after ? ["%", "LUT %"] : ["%"];
    const codes = [`${bits}b full`, `${bits}b legal`];
    if (after) codes.push("LUT full", "LUT legal");
    const names = ["light", "stops", ...percents, ...codes];
    const head = el("tr", {}, ...names.map((name) => el("th", { text: name, set: { scope: "col" } })));
    const rows = [...levels].reverse().map((level) => {
      const signals = level.after_lut ? [level, level.after_lut] : [level];
      const cells = [
        level.stops === null ? "−∞" : signed(level.stops, 1),
        ...signals.map(({ percent }) => percent.toFixed(1)),
        ...signals.flatMap(({ code }) => [String(code.full[bits]), String(code.legal[bits])])
      ];
      const title = el("th", { text: labelWords(level.label), set: { scope: "row" } });
      const row = el("tr", {}, title, ...cells.map((text) => el("td", { text })));
      if (/^[+-]/.test(level.label)) row.className = "minor";
      return row;
    });
    const table = el("table", { class: "levels" }, el("thead", {}, head), el("tbody", {}, ...rows));
    return el("div", { class: "scroll", set: { tabindex: "0", role: "region", "aria-label": "Levels" } }, table);
  }

  // src/ui/expose.ts
  var ZEBRA_WORDS = [
    ["off", "Off"],
    ["recording", "Recording"],
    ["view", "After the LUT"]
  ];
  function exposePanel(bench) {
    const stops = new Slider(
      "Exposure",
      { low: -MOST_STOPS, high: MOST_STOPS, step: 0.1 },
      (value) => stopsWords(value),
      (value) => {
        bench.set({ stops: value });
      }
    );
    const steps = el("div", { class: "row" });
    for (const by of [-1, -1 / 3, 0, 1 / 3, 1]) {
      const text = by === 0 ? "0" : `${by > 0 ? "+" : "−"}${Math.abs(by) === 1 ? "1" : "⅓"}`;
      const label = by === 0 ? "0: as recorded" : `${text} stop`;
      steps.append(button(text, () => {
        move(by);
      }, { "aria-label": label, class: "square" }));
    }
    const move = (by) => {
      const next = by === 0 ? 0 : bench.state.stops + by;
      bench.set({ stops: Math.min(Math.max(Math.round(next * 1e3) / 1e3, -MOST_STOPS), MOST_STOPS) });
    };
    const why = el("p", { class: "note" });
    const ladder = new Tick("Compensate with the exposure ladder", (on) => {
      bench.set({ ladder: on });
    });
    const rung = el("p", { class: "note" });
    const bands = new Tick("False colour", (on) => {
      bench.set({ bands: on });
    });
    const legend = el("ul", { class: "legend", set: { "aria-label": "Legend of the false colour" } });
    const zebra = new Choice("Zebra", ZEBRA_WORDS, (value) => {
      bench.set({ zebra: value });
    });
    const zebraAt = new Slider(
      "Zebra from",
      { low: 0, high: 100, step: 1 },
      (value) => `${value} %`,
      (value) => {
        bench.set({ zebraAt: value });
      }
    );
    const zebraNote = el("p", { class: "note", text: "In percent of luma. Stripes mark this level and everything above it." });
    bench.onChange(() => {
      const { state, source, data } = bench;
      stops.show(state.stops, source !== null);
      for (const each of steps.querySelectorAll("button")) each.disabled = source === null;
      why.textContent = source ? `Exposure acts on light, through ${source.data.curve}. What was clipped in the recording stays clipped.` : "The curve of the recording is not known. Write the bench with --source-curve to change the exposure.";
      const rungs = bench.rungs(bench.shelf(state.lut));
      ladder.show(state.ladder && rungs.length > 1, rungs.length > 1);
      ladder.element.hidden = rungs.length < 2;
      const used = bench.chosen();
      rung.hidden = !state.ladder || rungs.length < 2;
      rung.textContent = `Looking through ${used?.name ?? ""}: ${signed(used?.entry?.exposure ?? 0, 1)} stops.`;
      const able = source !== null && data.false_colour !== null;
      bands.show(state.bands && able, able);
      legend.hidden = !state.bands || !able;
      if (!legend.hidden && !legend.childElementCount) legend.append(...(data.false_colour?.bands ?? []).map(entryOf));
      zebra.show(state.zebra);
      zebraAt.show(state.zebraAt);
      zebraAt.element.hidden = state.zebra === "off";
      zebraNote.hidden = state.zebra === "off";
    });
    return section(
      "Expose",
      "expose",
      stops.element,
      steps,
      why,
      ladder.element,
      rung,
      bands.element,
      legend,
      zebra.element,
      zebraAt.element,
      zebraNote
    );
  }
  function entryOf(band) {
    const swatch = el("span", { class: "swatch" });
    swatch.style.setProperty("background-color", band.colour);
    const ends = [
      band.low === null ? "" : signed(band.low, 1),
      band.high === null ? "" : signed(band.high, 1)
    ];
    const range = !ends[0] ? `under ${ends[1]}` : !ends[1] ? `from ${ends[0]}` : `${ends[0]} to ${ends[1]}`;
    return el("li", {}, swatch, el("span", { text: unbroken(band.label || "band") }), el("span", { class: "faint", text: unbroken(`${range} stops`) }));
  }

  // src/ui/look.ts
  var LOOK_WORDS = [
    ["one", "One"],
    ["wipe", "Wipe"],
    ["beside", "Side by side"],
    ["difference", "Difference"]
  ];
  var INTERPOLATION_WORDS = [
    ["tetrahedral", "Tetrahedral"],
    ["trilinear", "Trilinear"]
  ];
  function lookPanel(bench) {
    const picture = new Picker("Picture", (still) => {
      bench.stopCamera();
      bench.set({ still, x: -1, y: -1 });
    });
    const step = (by) => () => {
      const names = ["", ...bench.shelves.map((shelf) => shelf.name)];
      const at = names.indexOf(bench.state.lut) + by + names.length;
      bench.set({ lut: names[at % names.length] });
    };
    const lut = new Picker(
      "LUT",
      (name) => {
        bench.set({ lut: name });
      },
      button("‹", step(-1), { "aria-label": "Previous LUT", class: "square" }),
      button("›", step(1), { "aria-label": "Next LUT", class: "square" })
    );
    const look = new Choice("Compare", LOOK_WORDS, (value) => {
      bench.set({ look: value });
    });
    const against = new Picker("With", (name) => {
      bench.set({ against: name });
    });
    const wipe = new Slider(
      "Wipe at",
      { low: 0, high: 1, step: 5e-3 },
      (value) => `${(100 * value).toFixed(0)} %`,
      (value) => {
        bench.set({ wipe: value });
      }
    );
    const gain = new Slider(
      "Difference gain",
      { low: 0, high: GAINS.length - 1, step: 1 },
      (at) => `× ${GAINS[at]}`,
      (at) => {
        bench.set({ gain: GAINS[at] });
      }
    );
    const interpolation = new Choice("Interpolation", INTERPOLATION_WORDS, (value) => {
      bench.set({ interpolation: value });
    });
    const hdr = new Tick("Show HDR as HDR on this screen", (on) => {
      bench.set({ hdr: on });
    });
    const swap = swapButton(bench);
    const ordinary = new Tick("Ordinary picture: encode it like the recording", (on) => {
      bench.setOrdinary(on);
    });
    const about = el("p", { class: "note" });
    const standIn = el("p", { class: "note" });
    const sources = el("div", { class: "row" }, fileButton(bench), cameraButton(bench));
    const drop = el("p", { class: "note", text: "Or drop a picture or a .cube LUT anywhere on the page." });
    bench.onChange(() => {
      const { state } = bench;
      const own = bench.data.stills.map((still) => [still.name, still.name]);
      const dropped = [...bench.pictures.keys()].filter((name) => !own.some(([known]) => known === name));
      picture.show([...own, ...dropped.map((name) => [name, `${name} (opened)`])], state.still);
      const names = bench.shelves.map((shelf) => [
        shelf.name,
        shelf.entry ? shelf.name : `${shelf.name} (opened)`
      ]);
      const luts = [...names, ["", "none: as recorded"]];
      lut.show(luts, state.lut);
      against.show(luts, state.against);
      look.show(state.look);
      wipe.show(state.wipe);
      wipe.element.hidden = state.look !== "wipe";
      gain.show(GAINS.findIndex((each) => each === state.gain));
      gain.element.hidden = state.look !== "difference";
      interpolation.show(state.interpolation);
      hdr.show(state.hdr);
      hdr.element.hidden = !bench.hdrAble() || !bench.shown().some((shelf) => shelf?.light);
      const encoded = bench.ordinary.has(state.still) || bench.camera !== null;
      ordinary.show(bench.ordinary.has(state.still), bench.source !== null);
      ordinary.element.hidden = bench.camera !== null || own.some(([name]) => name === state.still);
      const note = bench.pictures.get(state.still)?.note ?? "";
      about.hidden = !note || bench.camera !== null;
      about.textContent = note && `${note[0].toUpperCase()}${note.slice(1)}.`;
      standIn.hidden = !encoded;
      const curve = bench.source?.data.curve ?? "";
      standIn.textContent = `A stand-in for log: the page encodes an ordinary picture as ${curve}. Clipped highlights stay clipped.`;
    });
    return section(
      "Look",
      "look",
      picture.element,
      about,
      sources,
      drop,
      ordinary.element,
      standIn,
      lut.element,
      look.element,
      against.element,
      wipe.element,
      gain.element,
      hdr.element,
      interpolation.element,
      swap
    );
  }
  function swapButton(bench) {
    const swap = (on) => (event) => {
      if (event instanceof KeyboardEvent && event.key !== " " && event.key !== "Enter") return;
      if (event instanceof KeyboardEvent) event.preventDefault();
      if (bench.swapped === on) return;
      bench.swapped = on;
      made.setAttribute("aria-pressed", String(on));
      bench.tell();
    };
    const made = el("button", {
      class: "wide",
      text: "Hold to see the other",
      set: { type: "button", "aria-pressed": "false" },
      on: {
        pointerdown: swap(true),
        pointerup: swap(false),
        pointercancel: swap(false),
        pointerleave: swap(false),
        keydown: swap(true),
        keyup: swap(false),
        blur: swap(false),
        contextmenu: (event) => {
          event.preventDefault();
        }
      }
    });
    return made;
  }
  function fileButton(bench) {
    const input = el("input", {
      class: "unseen",
      id: "open-file",
      set: { type: "file", accept: "image/png,image/jpeg,.cube" },
      on: {
        change: () => {
          const file = input.files?.[0];
          if (file) void bench.open(file);
          input.value = "";
        }
      }
    });
    return el("div", { class: "file" }, input, el("label", { text: "Open a file…", set: { for: "open-file" } }));
  }
  function cameraButton(bench) {
    const made = button("Camera", () => {
      if (bench.camera) {
        bench.stopCamera();
        bench.tell();
      } else void bench.startCamera();
    });
    bench.onChange(() => {
      const devices = navigator.mediaDevices;
      made.disabled = !devices || !bench.source;
      made.textContent = bench.camera ? "Stop the camera" : "Camera";
    });
    return made;
  }

  // src/ui/measure.ts
  var ROWS = [
    ["percent", (reading) => reading.percent.toFixed(1)],
    ["code, full", (reading, bits) => String(reading.code.full[bits])],
    ["code, legal", (reading, bits) => String(reading.code.legal[bits])]
  ];
  var MeasurePanel = class {
    constructor(bench, scopes) {
      this.bench = bench;
      this.bits = new Choice("Bit depth of the codes", [["8", "8 bit"], ["10", "10 bit"]], (value) => {
        bench.set({ bits: Number(value) });
      });
      const enlargements = ENLARGEMENTS.map((times) => [String(times), `× ${times}`]);
      this.enlarge = new Choice("Enlarge around the point", enlargements, (value) => {
        bench.set({ enlarge: Number(value) });
      });
      this.element = section(
        "Measure",
        "measure",
        this.where,
        this.light,
        this.table(),
        this.spoken,
        this.bits.element,
        this.enlarge.element,
        scopes
      );
      bench.onChange(() => {
        this.bits.show(String(bench.state.bits));
        this.enlarge.show(String(bench.state.enlarge));
      });
    }
    bench;
    element;
    cells = [];
    where = el("p", { class: "where" });
    light = el("p", { class: "light" });
    bits;
    enlarge;
    spoken = el("p", { class: "unseen", set: { role: "status" } });
    table() {
      const head = el("tr", {}, el("th", { text: "", set: { scope: "col" } }));
      head.firstElementChild?.append(el("span", { class: "unseen", text: "figure" }));
      for (const name of ["R", "G", "B"]) head.append(el("th", { text: name, set: { scope: "col" } }));
      const body = [];
      for (const part of ["recorded", "after the LUT"]) {
        const title = el("th", { text: part, set: { scope: "rowgroup", colspan: "4" } });
        const rows = ROWS.map(([name]) => {
          const cells = [0, 1, 2].map(() => el("td", { text: "–" }));
          this.cells.push(...cells);
          return el("tr", {}, el("th", { text: name, set: { scope: "row" } }), ...cells);
        });
        body.push(el("tbody", {}, el("tr", { class: "part" }, title), ...rows));
      }
      return el("table", { class: "figures" }, el("thead", {}, head), ...body);
    }
    /** Show a pixel; with `aloud` a screen reader announces it. */
    show(probe, aloud) {
      const { bits } = this.bench.state;
      const readings = probe ? [...probe.recorded, ...probe.after] : [];
      this.cells.forEach((cell, index) => {
        const part = Math.floor(index / 9);
        const row = Math.floor(index % 9 / 3);
        const reading = probe ? readings[3 * part + index % 3] : null;
        retext(cell, reading ? ROWS[row][1](reading, bits) : "–");
      });
      this.element.classList.toggle("unpointed", !probe);
      retext(this.where, probe ? `Point ${probe.x}, ${probe.y}` : "Point at the picture, or tap it.");
      retext(this.light, probe ? lightWords(probe) : " ");
      if (aloud && probe) retext(this.spoken, spokenWords(probe));
    }
  };
  function lightWords({ stops, nearest }) {
    if (stops === null) return "No stops: the curve of the recording is not known.";
    if (!nearest) return `${stopsWords(stops)} from grey`;
    const name = labelWords(nearest.level.label);
    const away = Math.abs(nearest.away) < 0.05 ? "at" : `${signed(nearest.away, 1)} from`;
    return `${stopsWords(stops)} from grey, ${away} ${name}`;
  }
  function spokenWords(probe) {
    const percents = (readings) => readings.map((reading) => reading.percent.toFixed(0)).join(", ");
    const recorded = `recorded ${percents(probe.recorded)} percent`;
    return `${recorded}; after the LUT ${percents(probe.after)} percent; ${lightWords(probe)}`;
  }

  // src/ui/scopeview.ts
  var WORDS = {
    waveform: "Waveform",
    parade: "R G B parade",
    vectorscope: "Vectorscope",
    histogram: "Histogram"
  };
  var BARS = [
    ["R", 1, 0, 0],
    ["Mg", 1, 0, 1],
    ["B", 0, 0, 1],
    ["Cy", 0, 1, 1],
    ["G", 0, 1, 0],
    ["Yl", 1, 1, 0]
  ];
  var SIDE_WORDS = [
    ["first", "The LUT"],
    ["second", "The other"]
  ];
  var ScopeView = class {
    constructor(bench) {
      this.bench = bench;
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
      this.side = new Choice("Scopes measure", SIDE_WORDS, (measured) => {
        bench.set({ measured });
      });
      this.element = el("div", { class: "scopes" }, choice, this.side.element, ...SCOPES.map((scope) => this.figure(scope)));
      bench.onChange(() => {
        this.show();
      });
    }
    bench;
    element;
    canvases = /* @__PURE__ */ new Map();
    figures = /* @__PURE__ */ new Map();
    lines = /* @__PURE__ */ new Map();
    ticks = /* @__PURE__ */ new Map();
    side;
    figure(scope) {
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
    show() {
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
    paint(scope, pixels) {
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
  };
  function linesOf(scope, range) {
    const [width, height] = areaOf(scope);
    if (scope === "vectorscope") return chromaLines(width);
    if (scope === "histogram") return stripLines(width, height, range);
    const lines = [];
    for (const percent of [0, 25, 50, 75, 100]) {
      const y = height - 0.5 - valueFromSignal(percent / 100, range) * (height - 1);
      lines.push(svg("line", { x1: 0, x2: width, y1: y, y2: y }));
      const under = percent > 0;
      const place2 = { x: 4, y: under ? y + 3 : y - 4, class: under ? "under" : "" };
      lines.push(svg("text", place2, String(percent)));
    }
    if (scope === "parade") {
      ["R", "G", "B"].forEach((name, at) => {
        lines.push(svg("text", { x: (at + 1) * width / 3 - 5, y: 4, class: "under end" }, name));
        if (at) lines.push(svg("line", { x1: at * width / 3, x2: at * width / 3, y1: 0, y2: height }));
      });
    }
    return lines;
  }
  function stripLines(width, height, range) {
    const lines = [];
    for (const percent of [0, 25, 50, 75, 100]) {
      const x = 0.5 + valueFromSignal(percent / 100, range) * (width - 1);
      lines.push(svg("line", { x1: x, x2: x, y1: 0, y2: height }));
    }
    ["R", "G", "B", "Y′"].forEach((name, at) => {
      lines.push(svg("text", { x: width - 5, y: at * height / 4 + 4, class: "under end" }, name));
      if (at) lines.push(svg("line", { x1: 0, x2: width, y1: at * height / 4, y2: at * height / 4 }));
    });
    return lines;
  }
  function chromaLines(size) {
    const middle = size / 2 + 0.5;
    const reach = size - 2;
    const lines = [
      svg("line", { x1: 0, x2: size, y1: size - middle, y2: size - middle }),
      svg("line", { x1: middle, x2: middle, y1: 0, y2: size }),
      svg("circle", { cx: middle, cy: size - middle, r: reach / 2 })
    ];
    for (const [name, red, green, blue] of BARS) {
      const luma = 0.75 * (0.2126 * red + 0.7152 * green + 0.0722 * blue);
      const x = middle + (0.75 * blue - luma) / 1.8556 * reach;
      const y = size - middle - (0.75 * red - luma) / 1.5748 * reach;
      lines.push(svg("rect", { x: x - 5, y: y - 5, width: 10, height: 10 }));
      lines.push(svg("text", { x: x + 8, y: y + 4 }, name));
    }
    return lines;
  }

  // src/ui/stage.ts
  var KEYS = "Arrows move the point, plus and minus the exposure, L goes to the next LUT, hold O to see the other.";
  var Stage = class {
    constructor(bench, canvas, pointed) {
      this.bench = bench;
      this.canvas = canvas;
      this.pointed = pointed;
      canvas.tabIndex = 0;
      canvas.setAttribute("role", "application");
      canvas.setAttribute("aria-roledescription", "picture");
      canvas.setAttribute("aria-describedby", "keys");
      const keys = el("p", { id: "keys", class: "unseen", text: KEYS });
      this.frame.append(canvas, this.line, this.cross, ...this.names);
      const caution = el("p", { class: "caution", text: "An uncalibrated screen is not a monitor: judge by the figures." });
      const hold = el("div", { class: "hold" }, this.frame);
      const words2 = el("div", { class: "words" }, this.caption, caution);
      this.element = el("div", { class: "stage" }, this.message, hold, words2, keys);
      this.hold = hold;
      this.listen();
      bench.onChange(() => {
        this.show();
      });
      new ResizeObserver(() => {
        this.fit();
      }).observe(hold);
    }
    bench;
    canvas;
    pointed;
    element;
    frame = el("div", { class: "frame" });
    names = [el("span", { class: "name first" }), el("span", { class: "name second" })];
    line = el("div", { class: "wipe", set: { "aria-hidden": "true" } });
    cross = el("div", { class: "cross", set: { "aria-hidden": "true" } });
    caption = el("p", { class: "caption" });
    message = el("p", { class: "message", set: { role: "alert" } });
    hold;
    /** Covers the picture while HDR is shown as HDR. */
    over = null;
    fitted = "";
    dragging = null;
    /** Lay an HDR canvas over the picture. */
    lay(over) {
      this.over?.remove();
      over.className = "over";
      over.setAttribute("aria-hidden", "true");
      this.canvas.after(over);
      this.over = over;
    }
    listen() {
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
        canvas.addEventListener(end, () => {
          this.dragging = null;
        });
      }
      canvas.addEventListener("keydown", (event) => {
        this.key(event);
      });
      canvas.addEventListener("keyup", (event) => {
        if (event.key.toLowerCase() === "o") this.swap(false);
      });
      canvas.addEventListener("blur", () => {
        this.swap(false);
      });
    }
    swap(on) {
      if (this.bench.swapped === on) return;
      this.bench.swapped = on;
      this.bench.tell();
    }
    /** The position in the picture, 0..1 across and down the canvas. */
    placeOf(event) {
      const box = this.canvas.getBoundingClientRect();
      return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    }
    nearWipe(event) {
      const box = this.canvas.getBoundingClientRect();
      return Math.abs(event.clientX - box.left - this.bench.state.wipe * box.width) < 24;
    }
    moved(event) {
      const [across, down] = this.placeOf(event);
      if (this.dragging === "wipe") {
        this.bench.set({ wipe: Math.round(1e3 * Math.min(Math.max(across, 0), 1)) / 1e3 });
        return;
      }
      if (!this.dragging && this.bench.state.enlarge > 1) return;
      const { engine } = this.bench;
      const x = Math.floor(across * this.canvas.width) % Math.max(engine.width, 1);
      const y = Math.floor(down * this.canvas.height) % Math.max(engine.height, 1);
      this.point(x, y, false);
    }
    point(x, y, aloud) {
      const { engine } = this.bench;
      if (!engine.width || x < 0 || y < 0) return;
      this.bench.set({ x: Math.min(x, engine.width - 1), y: Math.min(y, engine.height - 1) });
      this.pointed(aloud);
    }
    key(event) {
      const { bench } = this;
      const { engine, state } = bench;
      const step = event.shiftKey ? 10 : 1;
      const from = state.x < 0 ? [engine.width >> 1, engine.height >> 1] : [state.x, state.y];
      const moves = {
        ArrowLeft: [-step, 0],
        ArrowRight: [step, 0],
        ArrowUp: [0, -step],
        ArrowDown: [0, step]
      };
      const move = moves[event.key];
      if (move) this.point(Math.max(from[0] + move[0], 0), Math.max(from[1] + move[1], 0), true);
      else if (event.key === "+" || event.key === "-") {
        const by = event.key === "+" ? 1 / 3 : -1 / 3;
        bench.set({ stops: Math.min(Math.max(Math.round(1e3 * (state.stops + by)) / 1e3, -8), 8) });
      } else if (event.key.toLowerCase() === "l") {
        const at = bench.shelves.findIndex((shelf) => shelf.name === state.lut) + (event.shiftKey ? -1 : 1);
        bench.set({ lut: bench.shelves.at(at % Math.max(bench.shelves.length, 1))?.name ?? "" });
      } else if (event.key.toLowerCase() === "o") this.swap(true);
      else return;
      event.preventDefault();
    }
    /** After drawing: a picture of another size needs another frame. */
    drawn() {
      if (this.fitted !== `${this.canvas.width} ${this.canvas.height}`) this.fit();
    }
    /** Fit the picture into its area, or enlarge it around the point. */
    fit() {
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
      const [across, down] = [100 * x / canvas.width, 100 * y / canvas.height];
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
    show() {
      const { bench } = this;
      const { state } = bench;
      const words2 = (shelf) => shelf?.name ?? "as recorded";
      const [one, other] = [words2(bench.chosen()), words2(bench.shelf(state.against))];
      const two = (state.look === "wipe" || state.look === "beside") && !bench.swapped;
      const single = bench.swapped ? other : state.look === "difference" ? `${one} − ${other}` : one;
      retext(this.names[0], two ? one : single);
      retext(this.names[1], two ? other : "");
      this.names[1].hidden = !two;
      this.frame.dataset["arrangement"] = state.look === "beside" ? bench.portrait ? "stacked" : "beside" : state.look;
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
  };

  // src/ui/trust.ts
  var CAUTIONS = [
    "A monitoring LUT is for viewing. The delivery specification decides what is delivered.",
    "This screen is not calibrated: trust the figures, not the eye.",
    "The browser shows the codes on its own screen. On a monitor, check the range setting (full or legal) too."
  ];
  function interpolationWords(shelf, by, error) {
    const codes = (255 * error.drawn).toPrecision(1);
    const name = `${by[0].toUpperCase()}${by.slice(1)}`;
    const lines = [`${name} interpolation: this device is within ${codes} 8-bit codes of double precision on 256 test colours.`];
    if (shelf.lut().lattice) {
      const other = by === "trilinear" ? "tetrahedral" : "trilinear";
      lines.push(`A device with ${other} interpolation differs by up to ${(255 * error.other).toPrecision(2)} 8-bit codes on the same colours.`);
    }
    return lines;
  }
  function hdrWords(bench) {
    if (!bench.highRange) return "HDR is shown tone-mapped: the browser reports a standard-range screen.";
    if (!bench.hdr) return "HDR is shown tone-mapped: this browser cannot draw brighter than white.";
    return "HDR can be shown as HDR here, with 203 cd/m² at the page's white. The browser does not report how bright that is, or where the screen clips.";
  }
  function trustPanel(bench) {
    const facts = el("ul");
    const notes = el("ul");
    const print = button("Print this view", () => {
      window.print();
    }, { class: "wide" });
    let error = null;
    bench.onChange(() => {
      const shelf = bench.chosen();
      const by2 = bench.state.interpolation;
      const of = `${by2} ${shelf?.name ?? ""}`;
      if (shelf && error?.of !== of) {
        error = { of, ...bench.engine.luts.largestErrors(shelf.lut(), bench.engine.format, by2) };
      }
      const lines = [hdrWords(bench)];
      if (shelf && error) lines.push(...interpolationWords(shelf, by2, error));
      const off = shelf?.entry?.sampling_error ?? 0;
      if (off >= 1) lines.push(`This LUT is a chain of steps that the page samples: up to ${off.toFixed(0)} 10-bit codes off on the test colours, most where the chain clips.`);
      lines.push(`This view reads ${Engine.reads(bench.scene())} texels for each pixel of the picture.`);
      const time = bench.engine.clock.last;
      const size = `${bench.engine.width} × ${bench.engine.height}`;
      if (time !== null) lines.push(`The GPU took ${time.toPrecision(2)} ms for the last timed frame (${size}).`);
      if (!bench.engine.scopes.exact) lines.push("This device counts in half floats: the scopes are exact up to 2048 pixels at one level.");
      facts.replaceChildren(...lines.map((text) => el("li", { text })));
      notes.replaceChildren(...bench.data.notes.map((text) => el("li", { text })));
      notes.hidden = !bench.data.notes.length;
    });
    const cautions = el("ul", {}, ...CAUTIONS.map((text) => el("li", { text })));
    const by = el("p", { class: "note", text: `Written by lutbench ${bench.data.version}. Nothing here leaves this page.` });
    return section("Trust", "trust", cautions, facts, notes, print, by);
  }

  // src/main.ts
  var REST_MS = 160;
  function start() {
    const place2 = document.getElementById("bench");
    const data = document.getElementById("bench-data")?.textContent;
    if (!place2 || !data) return;
    const canvas = el("canvas");
    try {
      const bench = new Bench(JSON.parse(data), new Engine(canvas));
      lay(bench, canvas, place2);
      follow(bench);
    } catch (thrown) {
      place2.replaceChildren(el("p", { class: "message", text: messageOf(thrown), set: { role: "alert" } }));
    }
  }
  function lay(bench, canvas, place2) {
    const scopes = new ScopeView(bench);
    const measure = new MeasurePanel(bench, scopes.element);
    const showPoint = (aloud) => {
      measure.show(bench.probe(bench.state.x, bench.state.y), aloud);
    };
    const stage = new Stage(bench, canvas, showPoint);
    followRange(bench, stage);
    const sections = [lookPanel(bench), exposePanel(bench), measure.element, cardPanel(bench), trustPanel(bench)];
    const links = sections.map(
      (each) => el("a", { text: each.firstElementChild?.textContent ?? "", set: { href: `#${each.id}` }, on: { click: jump } })
    );
    const left = el("div", { class: "column" }, sections[0], sections[1], sections[3]);
    const right = el("div", { class: "column" }, sections[2], sections[4]);
    const nav = el("nav", { set: { "aria-label": "Parts of the bench" } }, ...links);
    place2.replaceChildren(stage.element, nav, left, right);
    loop(bench, scopes, (measured) => {
      stage.drawn();
      if (measured) showPoint(false);
    });
    listen(bench);
    bench.tell();
  }
  function followRange(bench, stage) {
    const range = matchMedia("(dynamic-range: high)");
    const gone = () => {
      bench.hdr = null;
      bench.tell();
    };
    const changed = async () => {
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
  function jump(event) {
    event.preventDefault();
    const link = event.currentTarget;
    if (!(link instanceof HTMLAnchorElement)) return;
    const wanted = document.getElementById(link.hash.slice(1));
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    wanted?.scrollIntoView({ behavior: still ? "auto" : "smooth" });
    wanted?.querySelector("input, select, button")?.focus({ preventScroll: true });
  }
  function loop(bench, scopes, drawn) {
    const { engine } = bench;
    let dirty = true;
    let changedAt = 0;
    let settled = true;
    bench.onChange(() => {
      dirty = true;
      changedAt = performance.now();
    });
    const frame = () => {
      const moving = performance.now() - changedAt < REST_MS;
      if (dirty || bench.camera || !moving && !settled) {
        dirty = false;
        settled = !moving;
        void bench.showStill().catch((thrown) => {
          bench.say(messageOf(thrown));
        });
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
  function listen(bench) {
    addEventListener("dragover", (event) => {
      event.preventDefault();
    });
    addEventListener("drop", (event) => {
      event.preventDefault();
      for (const file of event.dataTransfer?.files ?? []) void bench.open(file);
    });
    addEventListener("paste", (event) => {
      for (const file of event.clipboardData?.files ?? []) void bench.open(file);
    });
    addEventListener("hashchange", () => {
      bench.set(bench.fromAddress());
    });
    bench.engine.canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      bench.say("The graphics context was lost. The page reloads when it is back.");
    });
    bench.engine.canvas.addEventListener("webglcontextrestored", () => {
      location.reload();
    });
    Object.assign(globalThis, { lutbench: { bench, parseCube, decodePng, readingOf } });
  }
  start();
})();
