/** WebGL 2: programs, textures, targets to draw into. */

import { BenchError } from "../errors.ts";
import lookup from "../shaders/lookup.glsl";
import whole from "../shaders/whole.vert.glsl";

export type GL = WebGL2RenderingContext;

/** Texels in a line of a curve's texture; the same as in lookup.glsl. */
const ROW = 1024;

/** Lattices with more nodes per edge are stored as half floats: at 256, full floats take 256 MiB. */
const FULL_FLOAT_NODES = 96;

export interface Target {
  texture: WebGLTexture;
  buffer: WebGLFramebuffer;
  width: number;
  height: number;
}

export class Program {
  private readonly places = new Map<string, WebGLUniformLocation | null>();
  private units = 0;

  constructor(
    private readonly gl: GL,
    private readonly program: WebGLProgram,
  ) {}

  /** Start to set this program's uniforms. */
  use(): this {
    this.gl.useProgram(this.program);
    this.units = 0;
    return this;
  }

  private at(name: string): WebGLUniformLocation | null {
    let place = this.places.get(name);
    if (place === undefined) {
      place = this.gl.getUniformLocation(this.program, name);
      this.places.set(name, place);
    }
    return place;
  }

  int(name: string, ...values: number[]): this {
    if (values.length === 1) this.gl.uniform1i(this.at(name), values[0]);
    else this.gl.uniform2iv(this.at(name), values);
    return this;
  }

  float(name: string, ...values: number[]): this {
    const place = this.at(name);
    if (values.length === 1) this.gl.uniform1f(place, values[0]);
    else if (values.length === 2) this.gl.uniform2fv(place, values);
    else if (values.length === 3) this.gl.uniform3fv(place, values);
    else this.gl.uniform4fv(place, values);
    return this;
  }

  /** A matrix by rows. */
  matrix(name: string, rows: number[][]): this {
    this.gl.uniformMatrix3fv(this.at(name), true, rows.flat());
    return this;
  }

  texture(name: string, texture: WebGLTexture, solid = false): this {
    const { gl } = this;
    gl.activeTexture(gl.TEXTURE0 + this.units);
    gl.bindTexture(solid ? gl.TEXTURE_3D : gl.TEXTURE_2D, texture);
    gl.uniform1i(this.at(name), this.units);
    this.units += 1;
    return this;
  }
}

function shader(gl: GL, type: number, text: string): WebGLShader {
  const made = gl.createShader(type);
  if (!made) throw new BenchError("the graphics context is lost");
  gl.shaderSource(made, text);
  gl.compileShader(made);
  if (!gl.getShaderParameter(made, gl.COMPILE_STATUS) && !gl.isContextLost()) {
    throw new BenchError(`a shader is refused: ${gl.getShaderInfoLog(made) ?? ""}`);
  }
  return made;
}

/** A program of both shaders; without a vertex shader it draws over everything. */
export function program(gl: GL, fragment: string, vertex = whole): Program {
  const made = gl.createProgram();
  const versioned = fragment.startsWith("#version");
  const text = versioned ? fragment : `#version 300 es\n${lookup}\n${fragment}`;
  gl.attachShader(made, shader(gl, gl.VERTEX_SHADER, vertex));
  gl.attachShader(made, shader(gl, gl.FRAGMENT_SHADER, text));
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS) && !gl.isContextLost()) {
    throw new BenchError(`a program is refused: ${gl.getProgramInfoLog(made) ?? ""}`);
  }
  return new Program(gl, made);
}

function plain(gl: GL, kind: number): WebGLTexture {
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

/** R G B A floats as a texture. */
export function floatTexture(gl: GL, width: number, height: number, data: Float32Array): WebGLTexture {
  const texture = plain(gl, gl.TEXTURE_2D);
  gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA32F, width, height, 0, gl.RGBA, gl.FLOAT, data);
  return texture;
}

/** An empty texture for the frames of a video. */
export function videoTexture(gl: GL): WebGLTexture {
  return plain(gl, gl.TEXTURE_2D);
}

/**
 * A curve as a texture of pairs, a value and the next one; `channels` curves one below the
 * other, their values interleaved.
 */
export function curveTexture(
  gl: GL,
  values: Float32Array,
  channels: number,
  old?: WebGLTexture,
): WebGLTexture {
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

/** The nodes of a lattice, blue along x. */
export function latticeTexture(gl: GL, size: number, values: Float32Array): WebGLTexture {
  const data = new Float32Array(4 * size ** 3);
  for (let node = 0; node < size ** 3; node += 1) {
    data.set(values.subarray(3 * node, 3 * node + 3), 4 * node);
  }
  const texture = plain(gl, gl.TEXTURE_3D);
  const format = size > FULL_FLOAT_NODES ? gl.RGBA16F : gl.RGBA32F;
  gl.texImage3D(gl.TEXTURE_3D, 0, format, size, size, size, 0, gl.RGBA, gl.FLOAT, data);
  return texture;
}

/** The most precise format that this device can draw into. */
export function targetFormat(gl: GL): { format: number; exact: boolean } {
  if (gl.getExtension("EXT_color_buffer_float")) return { format: gl.RGBA32F, exact: true };
  if (gl.getExtension("EXT_color_buffer_half_float")) return { format: gl.RGBA16F, exact: false };
  return { format: gl.RGBA8, exact: false };
}

export function target(gl: GL, width: number, height: number, format: number): Target {
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

export function release(gl: GL, old: Target | null): void {
  if (!old) return;
  gl.deleteFramebuffer(old.buffer);
  gl.deleteTexture(old.texture);
}

/** Draw over a whole target, or the canvas. */
export function cover(gl: GL, into: Target | null, width: number, height: number): void {
  gl.bindFramebuffer(gl.FRAMEBUFFER, into ? into.buffer : null);
  gl.viewport(0, 0, width, height);
  gl.drawArrays(gl.TRIANGLES, 0, 3);
}
