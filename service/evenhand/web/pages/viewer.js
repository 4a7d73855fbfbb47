// One portrait to look at: fitted or at whole steps of its size, before and after, with room above it
// for marks, masks and the brush. Strengths are blended here, so a drag is drawn as it happens.

import { partOf } from "./blending.js";
import { element } from "./element.js";
import { CanvasPainter } from "./painter_canvas.js";
import { WebGLPainter } from "./painter_webgl.js";
import { gridOf, Tiles, tilesIn } from "./tiles.js";
import { say, sayPercent } from "./words.js";

export const SURROUND = 119; // sRGB code of L* = 50, a neutral mid-grey
export const COMPARES = ["after", "divider", "beside", "before"];

const ZOOMS = [0.25, 0.5, 1, 2]; // pixels of the screen for one of the portrait
const PAN_KEY = 0.15; // part of the view that an arrow key moves
const GAP = 8; // between two pictures side by side, CSS pixels
const WHEEL_STEP = 60; // turn of the wheel for one step of size

export class Viewer {
  /**
   * @param {object} options  service, portrait, view (kept state), onview (called when it changes),
   *   painter ("gl" or "plain"; by itself WebGL 2 where a graphics card does it, else the canvas)
   */
  constructor({ service, portrait, view, onview, painter }) {
    Object.assign(this, { service, portrait, onview });
    this.view = { zoom: null, x: portrait.width / 2, y: portrait.height / 2,
                  compare: "after", divider: 0.5, ...view };
    this.strengths = new Map();
    this.holding = false;
    this.above = []; // each draws on the canvas above the picture
    this.rough = () => null; // gives a small picture that is shown until the tiles have come
    this.home = null; // point of the portrait that is enlarged first, such as a face
    this.pointing = null; // takes pointer events instead of panning, such as the brush
    this.canvas = element("canvas", { role: "img", "aria-label": say("viewer.picture", { name: portrait.name }) });
    this.overlay = element("canvas", { "aria-hidden": "true", class: "above" });
    this.handle = element("div", { class: "divider", role: "slider", tabindex: "0",
      "aria-label": say("viewer.divider"), "aria-orientation": "horizontal",
      "aria-valuemin": "0", "aria-valuemax": "100", hidden: true });
    this.labels = ["before", "after"].map((which) =>
      element("span", { class: `which ${which}`, hidden: true }, say(`viewer.${which}`)));
    this.root = element("div", { class: "viewer", tabindex: "0", role: "group", "data-key": "viewer",
      "aria-label": say("viewer.portrait"), "aria-describedby": "viewer-keys" },
      this.canvas, this.overlay, this.handle, this.labels,
      element("p", { id: "viewer-keys", class: "only-heard" }, say("viewer.keys")));
    this.#makePainter(painter);
    this.tiles = new Tiles(service, portrait, () => this.redraw());
    this.tiles.gone = (tile) => this.painter.forget(tile);
    this.#listen();
    this.sizes = new ResizeObserver(() => this.#resize());
    this.sizes.observe(this.root);
  }

  #makePainter(wanted) {
    try {
      if (wanted === "plain") throw new Error("asked for");
      this.painter = new WebGLPainter(this.canvas, wanted === "gl");
    } catch {
      this.painter = new CanvasPainter(this.canvas);
    }
    this.root.dataset.painter = this.painter.constructor.kind;
    this.canvas.addEventListener("webglcontextlost", (event) => event.preventDefault());
    this.canvas.addEventListener("webglcontextrestored", () => {
      this.painter = new WebGLPainter(this.canvas, true);
      this.painter.setColours(this.colours ?? null);
      this.redraw();
    });
  }

  /** Layers to blend, with the strength of each; only what changed is drawn again. */
  setLayers(layers) {
    this.tiles.setLayers(layers);
    this.layers = layers;
    this.strengths = new Map(layers.map((layer) => [layer.id, layer.strength]));
    this.redraw();
  }

  /** Show a layer at a strength now; called for every move of a drag. */
  setStrength(id, strength) {
    this.strengths.set(id, strength);
    const layer = this.layers?.find((one) => one.id === id);
    this.redraw(layer?.box);
  }

  /** How codes of the file are shown, {kind, values} as the service says, where they are not sRGB. */
  setColours(colours) {
    this.colours = colours;
    this.root.dataset.colours = colours?.kind ?? "same";
    this.painter.setColours(colours);
    this.redraw();
  }

  /** Draw at the next frame; with a box of the portrait only that part, if nothing else asks. */
  redraw(box = null) {
    if (this.due) this.dueBox = this.dueBox && box ? joined(this.dueBox, box) : null;
    else {
      this.dueBox = box;
      this.due = requestAnimationFrame(() => this.#draw());
    }
  }

  /** Show the portrait before as long as something is held. */
  hold(holding) {
    if (this.holding === holding) return;
    this.holding = holding;
    this.redraw();
  }

  setCompare(compare) {
    this.view.compare = compare;
    this.#changed();
  }

  zooms() {
    const fit = this.fitScale();
    return [null, ...ZOOMS.filter((zoom) => zoom > fit * 1.02)];
  }

  /** One step nearer (1) or farther (-1), keeping a point of the canvas where it is. */
  step(direction, at = null) {
    const zooms = this.zooms();
    const now = Math.max(0, zooms.indexOf(this.view.zoom));
    const next = Math.min(zooms.length - 1, Math.max(0, now + direction));
    if (next !== now) this.zoomTo(zooms[next], at);
  }

  zoomTo(zoom, at = null) {
    if (!at && this.view.zoom === null && zoom !== null && this.home) Object.assign(this.view, this.home);
    const point = at && this.toPortrait(at.x, at.y);
    this.view.zoom = zoom;
    if (point) {
      const pane = this.paneAt(at.x);
      this.view.x = point.x - (at.x - (pane.left + pane.right) / 2) / this.scale();
      this.view.y = point.y - (at.y - this.canvas.height / 2) / this.scale();
    }
    this.#changed();
  }

  panBy(x, y) {
    this.view.x += x / this.scale();
    this.view.y += y / this.scale();
    this.#changed();
  }

  /** Bring a point of the portrait to the middle. */
  lookAt(x, y, zoom = this.view.zoom) {
    Object.assign(this.view, { x, y, zoom });
    this.#changed();
  }

  #changed() {
    const half = { x: 0, y: 0 };
    const [pane] = this.panes();
    if (this.view.zoom !== null) {
      half.x = Math.min(this.portrait.width, (pane.right - pane.left) / this.scale()) / 2;
      half.y = Math.min(this.portrait.height, this.canvas.height / this.scale()) / 2;
    } else {
      half.x = this.portrait.width / 2;
      half.y = this.portrait.height / 2;
    }
    this.view.x = Math.min(this.portrait.width - half.x, Math.max(half.x, this.view.x));
    this.view.y = Math.min(this.portrait.height - half.y, Math.max(half.y, this.view.y));
    this.redraw();
    this.onview?.(this.view);
  }

  /** Where pictures are on the canvas: one, or two side by side. */
  panes() {
    const { width } = this.canvas;
    if (this.view.compare !== "beside") return [{ left: 0, right: width, before: this.view.compare === "before" }];
    const gap = GAP * this.density / 2;
    return [{ left: 0, right: Math.floor(width / 2 - gap), before: true },
            { left: Math.ceil(width / 2 + gap), right: width, before: false }];
  }

  paneAt(x) {
    return this.panes().find((pane) => x < pane.right) ?? this.panes().at(-1);
  }

  /** Pixels of the canvas for one of the portrait when it is fitted; never more than one. */
  fitScale() {
    const [pane] = this.panes();
    return Math.min(1, (pane.right - pane.left) / this.portrait.width, this.canvas.height / this.portrait.height);
  }

  shownSize() {
    const scale = this.fitScale();
    return { width: Math.max(1, Math.round(this.portrait.width * scale)),
             height: Math.max(1, Math.round(this.portrait.height * scale)) };
  }

  scale() {
    return this.view.zoom ?? this.fitScale();
  }

  /** Upper left corner of the portrait on the canvas in a pane, whole pixels. */
  origin(pane = this.panes()[0]) {
    return { x: Math.round((pane.left + pane.right) / 2 - this.view.x * this.scale()),
             y: Math.round(this.canvas.height / 2 - this.view.y * this.scale()) };
  }

  toPortrait(x, y) {
    const origin = this.origin(this.paneAt(x));
    return { x: (x - origin.x) / this.scale(), y: (y - origin.y) / this.scale() };
  }

  /** Point of the canvas at a pointer. */
  pointAt(event) {
    const box = this.canvas.getBoundingClientRect();
    return { x: (event.clientX - box.left) * this.density, y: (event.clientY - box.top) * this.density };
  }

  #resize() {
    const box = this.root.getBoundingClientRect();
    this.density = window.devicePixelRatio || 1;
    const width = Math.max(1, Math.round(box.width * this.density));
    const height = Math.max(1, Math.round(box.height * this.density));
    if (width === this.canvas.width && height === this.canvas.height && this.sized) return;
    for (const canvas of [this.canvas, this.overlay]) Object.assign(canvas, { width, height });
    this.sized = true;
    this.#changed();
  }

  #grids() {
    const shown = this.shownSize();
    const fit = gridOf(this.portrait, null, shown);
    const { zoom } = this.view;
    if (zoom === null) return { grid: fit, fit };
    return { grid: gridOf(this.portrait, Math.max(1, 1 / zoom), shown), fit };
  }

  #draw() {
    this.due = null;
    if (!this.sized) return;
    const began = performance.now();
    const box = this.view.compare === "beside" ? null : this.dueBox;
    const panes = this.panes();
    const { grid, fit } = this.#grids();
    const whole = [0, 0, this.canvas.width, this.canvas.height];
    const clip = box ? this.#onCanvas(box, whole) : whole;
    this.painter.begin(clip, SURROUND);
    let waiting = this.layers ? 0 : 1; // what is blended is not known yet
    this.missing = !this.layers;
    for (const pane of this.layers ? panes : []) {
      const area = cut(clip, [pane.left, 0, pane.right, this.canvas.height]);
      if (this.view.compare === "divider" && !this.holding) {
        const at = this.dividerAt();
        waiting += this.#paint(grid, fit, pane, cut(area, [0, 0, at, whole[3]]), true);
        waiting += this.#paint(grid, fit, pane, cut(area, [at, 0, whole[2], whole[3]]), false);
      } else {
        waiting += this.#paint(grid, fit, pane, area, pane.before || this.holding);
      }
    }
    this.painter.end();
    this.root.dataset.waiting = waiting;
    this.drawn = (this.drawn ?? 0) + 1;
    if (!box) this.#drawAbove();
    this.lastDraw = performance.now() - began;
  }

  #paint(grid, fit, pane, area, before) {
    const origin = this.origin(pane);
    const scale = this.scale();
    const magnified = scale / grid.scale;
    const inGrid = (edge, from) => (edge - from) / magnified;
    const wanted = tilesIn(grid, inGrid(area[0], origin.x), inGrid(area[1], origin.y),
                           inGrid(area[2], origin.x), inGrid(area[3], origin.y));
    const tiles = wanted.map((tile) => this.tiles.get(grid, tile));
    if (tiles.includes(null)) {
      const rough = grid !== fit && this.tiles.get(fit, tilesIn(fit)[0]);
      if (!rough) this.missing = true;
      if (rough) this.#paintTile(rough, origin, scale / fit.scale, area, before, false);
    }
    const whole = grid === fit ? 1 : magnified;
    for (const tile of tiles.filter(Boolean)) this.#paintTile(tile, origin, whole, area, before, grid.factor === 1);
    return tiles.filter((tile) => !tile || tile.layersKey !== this.tiles.layersKey).length;
  }

  #paintTile(tile, origin, magnified, area, before, fullSize) {
    const target = { x: origin.x + tile.left * magnified, y: origin.y + tile.top * magnified, magnified };
    const place = [target.x, target.y, target.x + tile.width * magnified, target.y + tile.height * magnified];
    const strength = (layer) => (layer.id === null ? 1 : before ? 0 : this.strengths.get(layer.id) ?? 0);
    const parts = tile.layers.map((layer) => partOf(strength(layer)));
    const dithered = fullSize && tile.layers.some((layer) => layer.dithered);
    this.painter.paint(tile, target, cut(area, place), parts, dithered);
  }

  /** Column of the canvas where the divider is. */
  dividerAt() {
    return Math.round(this.view.divider * this.canvas.width);
  }

  #onCanvas(box, within) {
    const origin = this.origin(), scale = this.scale();
    return cut(within, [Math.floor(origin.x + box.left * scale) - 2, Math.floor(origin.y + box.top * scale) - 2,
                        Math.ceil(origin.x + box.right * scale) + 2, Math.ceil(origin.y + box.bottom * scale) + 2]);
  }

  #drawAbove() {
    const context = this.overlay.getContext("2d");
    context.clearRect(0, 0, this.overlay.width, this.overlay.height);
    for (const pane of this.panes()) {
      context.save();
      context.beginPath();
      context.rect(pane.left, 0, pane.right - pane.left, this.overlay.height);
      context.clip();
      const origin = this.origin(pane);
      const rough = this.missing && this.rough();
      if (rough) {
        context.drawImage(rough, origin.x, origin.y, this.portrait.width * this.scale(), this.portrait.height * this.scale());
      }
      for (const draw of this.above) draw(context, { ...origin, scale: this.scale(), density: this.density, pane });
      context.restore();
    }
    const divided = this.view.compare === "divider" && !this.holding;
    this.handle.hidden = !divided;
    this.handle.style.left = `${(this.dividerAt() / this.density).toFixed(1)}px`;
    this.handle.setAttribute("aria-valuenow", Math.round(this.view.divider * 100));
    this.handle.setAttribute("aria-valuetext", sayPercent(this.view.divider));
    this.labels[0].hidden = !(divided || this.holding || ["beside", "before"].includes(this.view.compare));
    this.labels[1].hidden = !(divided || this.view.compare === "beside") || this.holding;
    this.root.dataset.compare = this.holding ? "before" : this.view.compare;
  }

  #listen() {
    const pointers = new Map();
    let spread = 0, turned = 0;
    this.overlay.addEventListener("pointerdown", (event) => {
      this.overlay.setPointerCapture(event.pointerId);
      pointers.set(event.pointerId, this.pointAt(event));
      spread = 0;
      if (pointers.size === 2) this.pointing?.cancel();
      if (pointers.size === 1 && event.button === 0 && this.pointing) this.pointing.down(this.pointAt(event), event);
    });
    this.overlay.addEventListener("pointermove", (event) => {
      const before = pointers.get(event.pointerId);
      const now = this.pointAt(event);
      if (this.pointing && pointers.size < 2) this.pointing.move(now, event, Boolean(before));
      if (!before) return;
      pointers.set(event.pointerId, now);
      if (pointers.size === 2) {
        const [one, other] = [...pointers.values()];
        const apart = Math.hypot(one.x - other.x, one.y - other.y);
        const middle = { x: (one.x + other.x) / 2, y: (one.y + other.y) / 2 };
        if (!spread) spread = apart;
        if (apart > spread * 1.35 || apart < spread / 1.35) {
          this.step(apart > spread ? 1 : -1, middle);
          spread = apart;
        } else this.panBy((before.x - now.x) / 2, (before.y - now.y) / 2);
      } else if (!this.pointing) this.panBy(before.x - now.x, before.y - now.y);
    });
    const up = (event) => {
      if (pointers.delete(event.pointerId) && this.pointing) this.pointing.up(this.pointAt(event), event);
    };
    this.overlay.addEventListener("pointerup", up);
    this.overlay.addEventListener("pointercancel", up);
    this.overlay.addEventListener("dblclick", (event) => {
      if (!this.pointing) this.zoomTo(this.view.zoom === null ? 1 : null, this.pointAt(event));
    });
    this.overlay.addEventListener("wheel", (event) => {
      event.preventDefault();
      turned += event.deltaY;
      if (Math.abs(turned) < WHEEL_STEP) return;
      this.step(turned < 0 ? 1 : -1, this.pointAt(event));
      turned = 0;
    }, { passive: false });
    this.handle.addEventListener("pointerdown", (event) => this.handle.setPointerCapture(event.pointerId));
    this.handle.addEventListener("pointermove", (event) => {
      if (this.handle.hasPointerCapture(event.pointerId)) this.setDivider(this.pointAt(event).x / this.canvas.width);
    });
    this.handle.addEventListener("keydown", (event) => {
      const move = { ArrowLeft: -0.02, ArrowDown: -0.02, ArrowRight: 0.02, ArrowUp: 0.02, PageDown: -0.2, PageUp: 0.2 };
      const ends = { Home: 0, End: 1 };
      if (event.key in move) this.setDivider(this.view.divider + move[event.key]);
      else if (event.key in ends) this.setDivider(ends[event.key]);
      else return;
      event.preventDefault();
      event.stopPropagation();
    });
  }

  setDivider(part) {
    this.view.divider = Math.min(1, Math.max(0, part));
    this.#changed();
  }

  /** Keys that move the view; gives whether the key was one of them. */
  key(event) {
    const width = this.canvas.width * PAN_KEY, height = this.canvas.height * PAN_KEY;
    const pan = { ArrowLeft: [-width, 0], ArrowRight: [width, 0], ArrowUp: [0, -height], ArrowDown: [0, height] };
    if (event.key in pan && this.view.zoom !== null) this.panBy(...pan[event.key]);
    else if (event.key === "+" || event.key === "=") this.step(1);
    else if (event.key === "-") this.step(-1);
    else if (event.key === "0") this.zoomTo(null);
    else if (event.key === "1" || event.key === "2") this.zoomTo(Number(event.key));
    else return false;
    return true;
  }

  stop() {
    this.sizes.disconnect();
    this.tiles.stop();
    if (this.due) cancelAnimationFrame(this.due);
  }
}

const cut = (one, other) => [Math.max(one[0], other[0]), Math.max(one[1], other[1]),
                             Math.min(one[2], other[2]), Math.min(one[3], other[3])];

const joined = (one, other) => ({
  top: Math.min(one.top, other.top), left: Math.min(one.left, other.left),
  bottom: Math.max(one.bottom, other.bottom), right: Math.max(one.right, other.right),
});
