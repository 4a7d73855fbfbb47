// Paints tiles on a plain canvas, blending in whole numbers in the page itself.

import { blend } from "./blending.js";

export class CanvasPainter {
  static kind = "canvas";

  constructor(canvas) {
    this.canvas = canvas;
    this.context = canvas.getContext("2d", { alpha: false });
    this.kept = new Map();
    this.table = null;
  }

  setTable(rgba) {
    this.table = rgba;
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

  /** The tile blended, once for before and once for the last strengths. */
  #picture(tile, parts, dithered) {
    const which = parts.some(Boolean) ? "after" : "before";
    const key = `${tile.version}:${parts}:${dithered}`;
    const kept = this.kept.get(tile) ?? {};
    this.kept.set(tile, kept);
    if (kept[which]?.key === key) return kept[which].canvas;
    const canvas = kept[which]?.canvas ?? new OffscreenCanvas(tile.width, tile.height);
    kept.total ??= new Int32Array(tile.width * tile.height * 3);
    kept.image ??= new ImageData(tile.width, tile.height);
    const layers = tile.layers.map((layer, k) => ({ ...layer, part: parts[k] ?? 0 }));
    blend(tile.original, layers, { ...tile, dithered }, kept.total, kept.image.data);
    if (this.table) convert(kept.image.data, this.table);
    canvas.getContext("2d").putImageData(kept.image, 0, 0);
    kept[which] = { key, canvas };
    return canvas;
  }
}

/** Codes to the display's colours, by the nearest corner below and trilinear weights. */
function convert(data, table) {
  const at = (red, green, blue) => (green * 289 + blue * 17 + red) * 4;
  for (let i = 0; i < data.length; i += 4) {
    const scaled = [data[i] / 15.9375, data[i + 1] / 15.9375, data[i + 2] / 15.9375];
    const low = scaled.map((value) => Math.min(15, Math.floor(value)));
    const part = scaled.map((value, k) => value - low[k]);
    const out = [0, 0, 0];
    for (let corner = 0; corner < 8; corner++) {
      const up = [corner & 1, (corner >> 1) & 1, corner >> 2];
      const weight = up.reduce((product, one, k) => product * (one ? part[k] : 1 - part[k]), 1);
      if (!weight) continue;
      const from = at(low[0] + up[0], low[1] + up[1], low[2] + up[2]);
      for (let channel = 0; channel < 3; channel++) out[channel] += weight * table[from + channel];
    }
    for (let channel = 0; channel < 3; channel++) data[i + channel] = out[channel];
  }
}
