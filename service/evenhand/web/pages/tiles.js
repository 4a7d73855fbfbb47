// Tiles of a portrait: the original's codes and every layer's differences, both without loss.
//
// A portrait is looked at fitted to the screen, at exactly the shown size, or at whole steps of its
// own size (IIIF Image API 3.0 regions), so that a shown pixel is always a pixel that was made.

export const TILE = 512;

const MOST_KEPT = 160;

/** Grid of tiles that show a portrait at a size. */
export function gridOf(portrait, factor, shown) {
  if (factor === null) {
    return { key: `fit${shown.width}`, factor: null, width: shown.width, height: shown.height,
             scale: shown.width / portrait.width, side: 0 };
  }
  return { key: `1/${factor}`, factor, width: Math.ceil(portrait.width / factor),
           height: Math.ceil(portrait.height / factor), scale: 1 / factor, side: TILE };
}

/** Tiles of a grid that meet a rectangle, given in the grid's own pixels. */
export function tilesIn(grid, left, top, right, bottom) {
  if (grid.factor === null) {
    return [{ left: 0, top: 0, width: grid.width, height: grid.height }];
  }
  const found = [];
  const first = (edge) => Math.max(0, Math.floor(edge / grid.side)) * grid.side;
  for (let y = first(top); y < Math.min(bottom, grid.height); y += grid.side) {
    for (let x = first(left); x < Math.min(right, grid.width); x += grid.side) {
      found.push({ left: x, top: y, width: Math.min(grid.side, grid.width - x),
                   height: Math.min(grid.side, grid.height - y) });
    }
  }
  return found;
}

/** Region and size of a tile in the words of IIIF's Image API. */
function asked(grid, tile, portrait) {
  if (grid.factor === null) return `full/${grid.width},${grid.height}`;
  const left = tile.left * grid.factor, top = tile.top * grid.factor;
  const width = Math.min(tile.width * grid.factor, portrait.width - left);
  const height = Math.min(tile.height * grid.factor, portrait.height - top);
  return `${left},${top},${width},${height}/${Math.min(tile.width, width)},${Math.min(tile.height, height)}`;
}

/** Layers of a tile from one body: a length, JSON, then 16-bit numbers. */
export function unpacked(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const parts = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  let offset = 4 + length;
  return parts.map((part) => {
    const count = part.width * part.height * 3;
    const numbers = new Int16Array(buffer, offset, count);
    offset += count * 2;
    return { ...part, numbers };
  });
}

export class Tiles {
  /** @param {() => void} came  called when a tile has come */
  constructor(service, portrait, came) {
    Object.assign(this, { service, portrait, came, layersKey: "" });
    this.kept = new Map();
    this.stopping = new AbortController();
  }

  /** Say which layers there are; tiles with others are fetched anew while they go on being shown. */
  setLayers(layers) {
    this.layersKey = layers.map((layer) => `${layer.id}:${layer.sha256}`).join();
  }

  /** A tile if it is there; otherwise it is sent for. An older state of its layers may come back. */
  get(grid, tile) {
    const key = `${grid.key}:${tile.left},${tile.top}`;
    const kept = this.kept.get(key);
    if (kept) {
      this.kept.delete(key);
      this.kept.set(key, kept);
    }
    if ((!kept || kept.layersKey !== this.layersKey) && !kept?.coming) this.#fetch(key, grid, tile, kept);
    return kept?.original ? kept : null;
  }

  async #fetch(key, grid, tile, before) {
    const entry = before ?? { ...tile, key, grid };
    entry.coming = true;
    this.kept.set(key, entry);
    const layersKey = this.layersKey;
    const id = this.portrait.id;
    const where = asked(grid, tile, this.portrait);
    const signal = this.stopping.signal;
    try {
      const [original, layers] = await Promise.all([
        entry.original ?? this.#original(`/v1/portraits/${id}/iiif/original/${where}/0/default.png`, signal),
        this.service.ask("GET", `/v1/portraits/${id}/differences/${where}`, { signal })
          .then((response) => response.arrayBuffer()).then(unpacked),
      ]);
      Object.assign(entry, { original, layers, layersKey, version: (entry.version ?? 0) + 1 });
      this.#forgetOldest();
    } catch (error) {
      if (!entry.original) this.kept.delete(key);
      if (error.name === "AbortError") return;
      if (error.status) entry.layersKey = layersKey; // asked again when the layers change
      this.failed?.(error);
    } finally {
      entry.coming = false;
    }
    this.came();
  }

  async #original(path, signal) {
    const blob = await this.service.picture(path, { signal });
    const bitmap = await createImageBitmap(blob, { colorSpaceConversion: "none", premultiplyAlpha: "none" });
    const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
    const context = canvas.getContext("2d", { willReadFrequently: true });
    context.drawImage(bitmap, 0, 0);
    bitmap.close();
    return context.getImageData(0, 0, canvas.width, canvas.height).data;
  }

  #forgetOldest() {
    for (const [key, entry] of this.kept) {
      if (this.kept.size <= MOST_KEPT) return;
      if (entry.coming || entry.grid.factor === null) continue;
      this.kept.delete(key);
      this.gone?.(entry);
    }
  }

  stop() {
    this.stopping.abort();
    for (const entry of this.kept.values()) this.gone?.(entry);
    this.kept.clear();
  }
}
