// The brush that corrects masks: strokes at the portrait's own resolution.

import { greyPNG } from "./png.js";

const SOFT = 0.75; // part of the radius that is painted fully; the rest fades out
const SPACING = 0.25; // of the radius between dabs of a stroke

export class Brush {
  /** @param viewer  @param {(stroke: {png: Blob, left, top}) => void} painted */
  constructor(viewer, painted) {
    Object.assign(this, { viewer, painted, radius: 24, points: null, at: null });
    this.draw = this.draw.bind(this);
  }

  start() {
    this.viewer.pointing = this;
    this.viewer.above.push(this.draw);
    this.viewer.overlay.classList.add("brushing");
    this.viewer.redraw();
  }

  stop() {
    this.viewer.pointing = null;
    this.viewer.above = this.viewer.above.filter((draw) => draw !== this.draw);
    this.viewer.overlay.classList.remove("brushing");
    this.points = this.at = null;
    this.viewer.redraw();
  }

  down(point) {
    this.points = [this.viewer.toPortrait(point.x, point.y)];
    this.viewer.redraw();
  }

  move(point, event, pressed) {
    this.at = this.viewer.toPortrait(point.x, point.y);
    if (pressed && this.points) this.points.push(this.at);
    this.viewer.redraw();
  }

  async up() {
    const { points } = this;
    this.points = null;
    if (points) await this.paint(points);
    this.viewer.redraw();
  }

  /** Paint along points of the portrait; also by key, in the middle of the view. */
  async paint(points) {
    const stroke = await strokeOf(points, this.radius, this.viewer.portrait);
    if (stroke) await this.painted(stroke);
  }

  draw(context, { x, y, scale, density }) {
    const circle = (point) => {
      context.beginPath();
      context.arc(x + point.x * scale, y + point.y * scale, this.radius * scale, 0, 7);
    };
    if (this.points) {
      context.strokeStyle = "rgb(255 255 255 / 0.45)";
      context.lineWidth = this.radius * 2 * scale;
      context.lineCap = context.lineJoin = "round";
      context.beginPath();
      this.points.forEach((point) => context.lineTo(x + point.x * scale, y + point.y * scale));
      if (this.points.length === 1) context.lineTo(x + this.points[0].x * scale + 0.1, y + this.points[0].y * scale);
      context.stroke();
    }
    if (!this.at) return;
    for (const [colour, width] of [["#000", 3], ["#fff", 1]]) {
      context.strokeStyle = colour;
      context.lineWidth = width * density;
      circle(this.at);
      context.stroke();
    }
  }
}

/** A stroke as a grey PNG with its place in the portrait; null where it misses the portrait. */
export async function strokeOf(points, radius, { width, height }) {
  const dabs = dabbed(points, radius * SPACING);
  const left = Math.max(0, Math.floor(Math.min(...dabs.map((dab) => dab.x)) - radius));
  const top = Math.max(0, Math.floor(Math.min(...dabs.map((dab) => dab.y)) - radius));
  const right = Math.min(width, Math.ceil(Math.max(...dabs.map((dab) => dab.x)) + radius));
  const bottom = Math.min(height, Math.ceil(Math.max(...dabs.map((dab) => dab.y)) + radius));
  const across = right - left, down = bottom - top;
  if (across <= 0 || down <= 0) return null;
  const grey = new Uint8Array(across * down);
  for (const dab of dabs) {
    for (let row = Math.max(top, Math.floor(dab.y - radius)); row < Math.min(bottom, dab.y + radius); row++) {
      for (let column = Math.max(left, Math.floor(dab.x - radius)); column < Math.min(right, dab.x + radius); column++) {
        const far = Math.hypot(column + 0.5 - dab.x, row + 0.5 - dab.y) / radius;
        const code = Math.round(255 * Math.min(1, Math.max(0, (1 - far) / (1 - SOFT))));
        const at = (row - top) * across + column - left;
        if (code > grey[at]) grey[at] = code;
      }
    }
  }
  return { png: await greyPNG(grey, across, down), left, top };
}

function dabbed(points, spacing) {
  const dabs = [points[0]];
  for (const point of points.slice(1)) {
    const last = dabs.at(-1);
    const steps = Math.floor(Math.hypot(point.x - last.x, point.y - last.y) / spacing);
    for (let step = 1; step <= steps; step++) {
      const part = step / steps;
      dabs.push({ x: last.x + (point.x - last.x) * part, y: last.y + (point.y - last.y) * part });
    }
  }
  return dabs;
}
