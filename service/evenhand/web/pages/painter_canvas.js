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

  /** The tile blended, once for before and once for the last strengths; only what changed anew. */
  #picture(tile, parts, dithered) {
    const kept = this.kept.get(tile) ?? {};
    this.kept.set(tile, kept);
    const which = parts.some(Boolean) ? "after" : "before";
    const last = kept[which] ?? { canvas: new OffscreenCanvas(tile.width, tile.height), image: new ImageData(tile.width, tile.height) };
    const same = last.version === tile.version && last.dithered === dithered;
    const changed = same ? tile.layers.filter((layer, k) => layer.width && parts[k] !== last.parts[k]) : null;
    kept[which] = { ...last, version: tile.version, dithered, parts };
    if (changed?.length === 0) return last.canvas;
    const region = changed ? around(changed) : { left: 0, top: 0, right: tile.width, bottom: tile.height };
    this.total = this.total?.length >= tile.width * 3 ? this.total : new Int32Array(tile.width * 3);
    const layers = tile.layers.map((layer, k) => ({ ...layer, part: parts[k] ?? 0 }));
    blend(tile.original, layers, { ...tile, dithered }, region, this.total, last.image.data);
    const context = last.canvas.getContext("2d");
    if (this.table) {
      const shown = new ImageData(new Uint8ClampedArray(last.image.data), tile.width);
      convert(shown.data, this.table);
      context.putImageData(shown, 0, 0);
    } else {
      context.putImageData(last.image, 0, 0, region.left, region.top, region.right - region.left, region.bottom - region.top);
    }
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
