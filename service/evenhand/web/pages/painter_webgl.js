// Paints tiles with WebGL 2, blending in whole numbers on the graphics card.

import { CHANNEL_STEP, COLUMN_STEP, HALF, ROW_STEP } from "./blending.js";

const MOST_LAYERS = 32;
const KINDS = { same: 0, light: 1, table: 2 }; // of colours
const STEPS = 33; // of each channel in a table
const ACROSS = 2048; // numbers of all layers of a tile lie in rows of this length

const VERTEX = `#version 300 es
void main() {
  vec2 corner = vec2(gl_VertexID & 1, gl_VertexID >> 1) * 4.0 - 1.0;
  gl_Position = vec4(corner, 0, 1);
}`;

const FRAGMENT = `#version 300 es
precision highp float;
precision highp int;
precision highp sampler2D;
precision highp isampler2D;
precision highp sampler3D;
uniform sampler2D original;
uniform isampler2D numbers;
uniform sampler2D light;
uniform sampler3D table;
uniform int colours;
uniform bool real;
uniform vec2 origin;
uniform float magnified;
uniform float bottom;
uniform ivec2 size;
uniform ivec2 place;
uniform bool dithered;
uniform int layers;
uniform ivec4 boxes[${MOST_LAYERS}];
uniform ivec2 starts[${MOST_LAYERS}];
out vec4 colour;
vec3 lit(int channel, float code) {
  int low = min(int(code), 254);
  return mix(texelFetch(light, ivec2(low, channel), 0).rgb, texelFetch(light, ivec2(low + 1, channel), 0).rgb,
             code - float(low));
}
vec3 encoded(vec3 linear) {
  vec3 curve = 1.055 * pow(max(linear, 0.0031308), vec3(1.0 / 2.4)) - 0.055;
  return mix(curve, 12.92 * linear, lessThanEqual(linear, vec3(0.0031308)));
}
void main() {
  vec2 shown = vec2(gl_FragCoord.x, bottom - gl_FragCoord.y);
  ivec2 at = clamp(ivec2(floor((shown - origin) / magnified)), ivec2(0), size - 1);
  ivec3 code = ivec3(texelFetch(original, at, 0).rgb * 255.0 + 0.5);
  ivec3 sum = ivec3(0);
  for (int k = 0; k < layers; k++) {
    ivec2 inside = at - boxes[k].xy;
    if (inside.x < 0 || inside.y < 0 || inside.x >= boxes[k].z || inside.y >= boxes[k].w) continue;
    int index = starts[k].x + inside.y * boxes[k].z + inside.x;
    sum += starts[k].y * texelFetch(numbers, ivec2(index & ${ACROSS - 1}, index >> 11), 0).rgb;
  }
  ivec3 threshold = ivec3(${HALF});
  if (dithered) {
    int base = (place.x + at.x) * ${COLUMN_STEP} + (place.y + at.y) * ${ROW_STEP};
    threshold = (ivec3(base) + ivec3(0, 1, 2) * ${CHANNEL_STEP}) & 65535;
  }
  vec3 result = real ? vec3(code) + vec3(sum) / 65536.0 : vec3((code * 65536 + sum + threshold) >> 16);
  result = clamp(result, 0.0, 255.0);
  if (colours == ${KINDS.light}) result = encoded(lit(0, result.r) + lit(1, result.g) + lit(2, result.b));
  else if (colours == ${KINDS.table}) result = texture(table, (result / 255.0 * ${STEPS - 1}.0 + 0.5) / ${STEPS}.0).rgb;
  else result /= 255.0;
  colour = vec4(clamp(result, 0.0, 1.0), 1);
}`;

function program(gl) {
  const made = gl.createProgram();
  for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
  return made;
}

export class WebGLPainter {
  static kind = "WebGL 2";

  /** Throws if the browser has no WebGL 2, or none that is quick, unless any will do. */
  constructor(canvas, any = false) {
    const gl = canvas.getContext("webgl2", {
      alpha: false, antialias: false, depth: false, preserveDrawingBuffer: true, failIfMajorPerformanceCaveat: !any,
    });
    if (!gl) throw new Error("no WebGL 2");
    this.gl = gl;
    this.canvas = canvas;
    this.program = program(gl);
    gl.useProgram(this.program);
    gl.bindVertexArray(gl.createVertexArray());
    const names = ["original", "numbers", "light", "table", "colours", "real", "origin", "magnified", "bottom", "size",
                   "place", "dithered", "layers", "boxes", "starts"];
    this.at = Object.fromEntries(names.map((name) => [name, gl.getUniformLocation(this.program, name)]));
    gl.uniform1i(this.at.original, 0);
    gl.uniform1i(this.at.numbers, 1);
    gl.uniform1i(this.at.table, 2);
    gl.uniform1i(this.at.light, 3);
    this.textures = new Map();
    this.none = this.#integers(new Int16Array(0));
    this.setColours(null);
  }

  /** How codes are shown: {kind, values} as the service says; null for sRGB. */
  setColours(colours) {
    const gl = this.gl;
    this.kind = colours?.kind ?? "same";
    const values = (kind, width, height) => {
      const rgba = new Float32Array(width * height * 4);
      if (this.kind === kind) colours.values.forEach((value, i) => { rgba[Math.floor(i / 3) * 4 + (i % 3)] = value; });
      return rgba;
    };
    this.light ??= gl.createTexture();
    gl.activeTexture(gl.TEXTURE3);
    gl.bindTexture(gl.TEXTURE_2D, this.light);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA32F, 256, 3, 0, gl.RGBA, gl.FLOAT, values("light", 256, 3));
    this.#nearest();
    this.table ??= gl.createTexture();
    gl.activeTexture(gl.TEXTURE2);
    gl.bindTexture(gl.TEXTURE_3D, this.table);
    gl.texImage3D(gl.TEXTURE_3D, 0, gl.RGBA16F, STEPS, STEPS, STEPS, 0, gl.RGBA, gl.FLOAT, values("table", STEPS, STEPS ** 2));
    for (const side of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T, gl.TEXTURE_WRAP_R]) {
      gl.texParameteri(gl.TEXTURE_3D, side, gl.CLAMP_TO_EDGE);
    }
    gl.texParameteri(gl.TEXTURE_3D, gl.TEXTURE_MIN_FILTER, gl.LINEAR);
    gl.texParameteri(gl.TEXTURE_3D, gl.TEXTURE_MAG_FILTER, gl.LINEAR);
  }

  /** Make ready to paint inside a rectangle of the canvas (left, top, right, bottom). */
  begin(clip, grey) {
    const gl = this.gl;
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    gl.enable(gl.SCISSOR_TEST);
    this.#scissor(clip);
    gl.clearColor(grey / 255, grey / 255, grey / 255, 1);
    gl.clear(gl.COLOR_BUFFER_BIT);
  }

  /**
   * Paint a tile.
   * @param tile  from Tiles.get
   * @param {{x:number,y:number,magnified:number}} target  of its upper left corner, canvas pixels
   * @param {number[]} clip  left, top, right, bottom on the canvas
   * @param {number[]} parts  one for each of the tile's layers; all zero is before
   */
  paint(tile, target, clip, parts, dithered) {
    const gl = this.gl;
    if (!this.#scissor(clip)) return;
    const { original, numbers, boxes, firsts } = this.#textures(tile);
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, original);
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_2D, numbers);
    const active = parts.map((part, k) => k).filter((k) => parts[k] && boxes[k][2]).slice(0, MOST_LAYERS);
    gl.uniform1i(this.at.layers, active.length);
    if (active.length) {
      gl.uniform4iv(this.at.boxes, active.flatMap((k) => boxes[k]));
      gl.uniform2iv(this.at.starts, active.flatMap((k) => [firsts[k], parts[k]]));
    }
    gl.uniform1i(this.at.colours, KINDS[this.kind]);
    gl.uniform1i(this.at.real, this.kind !== "same" && tile.layers.some((layer) => layer.id === null) ? 1 : 0);
    gl.uniform2f(this.at.origin, target.x, target.y);
    gl.uniform1f(this.at.magnified, target.magnified);
    gl.uniform1f(this.at.bottom, this.canvas.height);
    gl.uniform2i(this.at.size, tile.width, tile.height);
    gl.uniform2i(this.at.place, tile.left, tile.top);
    gl.uniform1i(this.at.dithered, dithered ? 1 : 0);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  /** Forget what a tile was painted from. */
  forget(tile) {
    const kept = this.textures.get(tile);
    if (!kept) return;
    this.gl.deleteTexture(kept.original);
    if (kept.numbers !== this.none) this.gl.deleteTexture(kept.numbers);
    this.textures.delete(tile);
  }

  end() {
    this.gl.flush();
  }

  #scissor([left, top, right, bottom]) {
    const width = Math.round(right) - Math.round(left), height = Math.round(bottom) - Math.round(top);
    if (width <= 0 || height <= 0) return false;
    this.gl.scissor(Math.round(left), this.canvas.height - Math.round(bottom), width, height);
    return true;
  }

  #textures(tile) {
    const kept = this.textures.get(tile);
    if (kept?.version === tile.version) return kept;
    this.forget(tile);
    const gl = this.gl;
    const original = gl.createTexture();
    gl.activeTexture(gl.TEXTURE0);
    gl.bindTexture(gl.TEXTURE_2D, original);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 4);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, tile.width, tile.height, 0, gl.RGBA, gl.UNSIGNED_BYTE,
                  new Uint8Array(tile.original.buffer));
    this.#nearest();
    const firsts = [];
    let count = 0;
    for (const layer of tile.layers) {
      firsts.push(count);
      count += layer.width * layer.height;
    }
    const all = new Int16Array(Math.ceil(count / ACROSS) * ACROSS * 3);
    tile.layers.forEach((layer, k) => all.set(layer.numbers, firsts[k] * 3));
    const made = {
      version: tile.version, original, firsts,
      numbers: count ? this.#integers(all) : this.none,
      boxes: tile.layers.map((layer) => [layer.left, layer.top, layer.width, layer.height]),
    };
    this.textures.set(tile, made);
    return made;
  }

  #integers(numbers) {
    const gl = this.gl;
    const texture = gl.createTexture();
    gl.activeTexture(gl.TEXTURE1);
    gl.bindTexture(gl.TEXTURE_2D, texture);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 2);
    const rows = Math.max(1, numbers.length / ACROSS / 3);
    const data = numbers.length ? numbers : new Int16Array(ACROSS * 3);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB16I, ACROSS, rows, 0, gl.RGB_INTEGER, gl.SHORT, data);
    this.#nearest();
    return texture;
  }

  #nearest() {
    const gl = this.gl;
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.NEAREST);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
  }
}
