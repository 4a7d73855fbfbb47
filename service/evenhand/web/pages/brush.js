// The brush that corrects masks: strokes at the portrait's own resolution.

import { greyPNG } from "./png.js";
import { dabbed, drawCircle, Stroke } from "./stroke.js";

/** Radii of a brush, thousandths of the portrait's longer side. */
export const SIZES = [4, 6, 9, 13, 19, 28, 42, 63, 94, 140];

export const radiusAt = (size, { width, height }) => Math.max(2, SIZES[size] / 1000 * Math.max(width, height));

const SOFT = 0.75; // part of the radius that is painted fully; the rest fades out
const SPACING = 0.25; // of the radius between dabs of a stroke

export class Brush extends Stroke {
  /** @param viewer  @param away  @param {(stroke: {png: Blob, left, top}) => void} painted */
  constructor(viewer, away, painted) {
    super(viewer, away);
    Object.assign(this, { painted, radius: 24 });
  }

  /** Paint along points of the portrait; also by key, in the middle of the view. */
  async paint(points) {
    const stroke = await strokeOf(points, this.radius, this.viewer.portrait);
    if (stroke) await this.painted(stroke);
  }

  draw(context, { x, y, scale, density }) {
    if (this.points) {
      context.strokeStyle = "rgb(255 255 255 / 0.45)";
      context.lineWidth = this.radius * 2 * scale;
      context.lineCap = context.lineJoin = "round";
      context.beginPath();
      this.points.forEach((point) => context.lineTo(x + point.x * scale, y + point.y * scale));
      if (this.points.length === 1) context.lineTo(x + this.points[0].x * scale + 0.1, y + this.points[0].y * scale);
      context.stroke();
    }
    if (this.at) drawCircle(context, x + this.at.x * scale, y + this.at.y * scale, this.radius * scale, density);
  }
}

/** A picture as a data: address, which can be kept so that a stroke is done again. */
export const dataOf = (png) => new Promise((done) => {
  const reader = new FileReader();
  reader.onload = () => done(reader.result);
  reader.readAsDataURL(png);
});

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
