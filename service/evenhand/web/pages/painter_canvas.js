// Paints tiles on a plain canvas, blending in whole numbers in the page itself.

import { blend } from "./blending.js";

export class CanvasPainter {
  static kind = "canvas";

  constructor(canvas) {
    this.canvas = canvas;
    this.context = canvas.getContext("2d", { alpha: false });
    this.kept = new Map();
    this.colours = null;
  }

  setColours(colours) {
    this.colours = colours;
    this.kept.clear();
  }

  begin([left, top, right, bottom], grey) {
    this.context.imageSmoothingEnabled = false;
    this.context.fillStyle = `rgb(${grey} ${grey} ${grey})`;
    this.context.fillRect(left, top, right - left, bottom - top);
  }

  paint(tile, target, [left, top, right, bottom], parts, dithered) {
    if (right <= left || bottom <= top) return;
    const context = this.context;
    context.save();
    context.beginPath();
    context.rect(left, top, right - left, bottom - top);
    context.clip();
    const picture = this.#picture(tile, parts, dithered);
    context.drawImage(picture, target.x, target.y, tile.width * target.magnified, tile.height * target.magnified);
    context.restore();
  }

  forget(tile) {
    this.kept.delete(tile);
  }

  end() {}

  /** The tile blended, once for before and once for the last strengths; only what changed anew. */
  #picture(tile, parts, dithered) {
    const kept = this.kept.get(tile) ?? {};
    this.kept.set(tile, kept);
    const which = tile.layers.some((layer, k) => layer.id !== null && parts[k]) ? "after" : "before";
    const real = Boolean(this.colours) && tile.layers.some((layer) => layer.id === null);
    const last = kept[which] ?? { canvas: new OffscreenCanvas(tile.width, tile.height), image: new ImageData(tile.width, tile.height),
                                  codes: this.colours && new (real ? Float32Array : Uint8ClampedArray)(tile.width * tile.height * 4) };
    const same = last.version === tile.version && last.dithered === dithered;
    const changed = same ? tile.layers.filter((layer, k) => layer.width && parts[k] !== last.parts[k]) : null;
    kept[which] = { ...last, version: tile.version, dithered, parts };
    if (changed?.length === 0) return last.canvas;
    const region = changed ? around(changed) : { left: 0, top: 0, right: tile.width, bottom: tile.height };
    this.total = this.total?.length >= tile.width * 3 ? this.total : new Int32Array(tile.width * 3);
    const layers = tile.layers.map((layer, k) => ({ ...layer, part: parts[k] ?? 0 }));
    blend(tile.original, layers, { ...tile, dithered, real }, region, this.total, last.codes ?? last.image.data);
    if (last.codes) CONVERSIONS[this.colours.kind](last.codes, this.colours.values, region, last.image);
    last.canvas.getContext("2d")
      .putImageData(last.image, 0, 0, region.left, region.top, region.right - region.left, region.bottom - region.top);
    return last.canvas;
  }
}

/** Smallest rectangle around layers in a tile. */
function around(layers) {
  return {
    left: Math.min(...layers.map((layer) => layer.left)), top: Math.min(...layers.map((layer) => layer.top)),
    right: Math.max(...layers.map((layer) => layer.left + layer.width)),
    bottom: Math.max(...layers.map((layer) => layer.top + layer.height)),
  };
}

const STEPS = 33; // of each channel in a table
const LIGHT_STEPS = 65535; // of linear light in the table of sRGB's curve, within 0.06 of a code

/** Codes of sRGB (IEC 61966-2-1) for linear light from 0 to 1. */
const ENCODED = Uint8ClampedArray.from({ length: LIGHT_STEPS + 1 }, (_, k) => {
  const light = k / LIGHT_STEPS;
  return 255 * (light <= 0.0031308 ? 12.92 * light : 1.055 * light ** (1 / 2.4) - 0.055);
});

/** Codes of the file to sRGB inside a region of an image, by the kind of its colours. */
const CONVERSIONS = {
  /** Light that the codes of three channels add, then sRGB's curve. */
  light(codes, light, region, image) {
    const sum = [0, 0, 0];
    inRegion(region, image, (i) => {
      sum.fill(0);
      for (let channel = 0; channel < 3; channel++) {
        const code = Math.min(255, Math.max(0, codes[i + channel]));
        const low = Math.min(254, Math.floor(code)), part = code - low;
        const from = (channel * 256 + low) * 3;
        for (let k = 0; k < 3; k++) sum[k] += light[from + k] * (1 - part) + light[from + 3 + k] * part;
      }
      for (let k = 0; k < 3; k++) {
        image.data[i + k] = ENCODED[Math.min(LIGHT_STEPS, Math.max(0, Math.round(sum[k] * LIGHT_STEPS)))];
      }
    });
  },

  /** By the nearest corner of the table below, and trilinear weights. */
  table(codes, table, region, image) {
    const out = [0, 0, 0];
    inRegion(region, image, (i) => {
      const scaled = [0, 1, 2].map((channel) => Math.min(255, Math.max(0, codes[i + channel])) / 255 * (STEPS - 1));
      const low = scaled.map((value) => Math.min(STEPS - 2, Math.floor(value)));
      const part = scaled.map((value, k) => value - low[k]);
      out.fill(0);
      for (let corner = 0; corner < 8; corner++) {
        const up = [corner & 1, (corner >> 1) & 1, corner >> 2];
        const weight = up.reduce((product, one, k) => product * (one ? part[k] : 1 - part[k]), 1);
        if (!weight) continue;
        const from = (((low[2] + up[2]) * STEPS + low[1] + up[1]) * STEPS + low[0] + up[0]) * 3;
        for (let k = 0; k < 3; k++) out[k] += weight * table[from + k] * 255;
      }
      for (let k = 0; k < 3; k++) image.data[i + k] = out[k];
    });
  },
};

/** Do something for every pixel of a region, given where it begins; it is opaque then. */
function inRegion(region, image, work) {
  for (let row = region.top; row < region.bottom; row++) {
    for (let i = (row * image.width + region.left) * 4, k = region.left; k < region.right; k++, i += 4) {
      work(i);
      image.data[i + 3] = 255;
    }
  }
}
