// A stroke drawn on the viewer with pointer or finger, whatever it is for.

/**
 * What it is for is given by `paint(points)` of the portrait, how it looks by `draw(context, view)`;
 * `drawing(points)` is called while it is drawn, with null where it comes to nothing.
 */
export class Stroke {
  /** @param viewer  @param {() => void} away  puts the tool away when another one is taken */
  constructor(viewer, away) {
    Object.assign(this, { viewer, away, points: null, at: null });
    this.drawn = (...view) => this.draw(...view);
  }

  start() {
    this.viewer.pointing?.away();
    this.viewer.pointing = this;
    this.viewer.above.push(this.drawn);
    this.viewer.overlay.classList.add("brushing");
    this.viewer.redraw();
  }

  stop() {
    this.viewer.pointing = null;
    this.viewer.above = this.viewer.above.filter((draw) => draw !== this.drawn);
    this.viewer.overlay.classList.remove("brushing");
    this.points = this.at = null;
    this.viewer.redraw();
  }

  down(point) {
    this.points = [this.viewer.toPortrait(point.x, point.y)];
    this.drawing?.(this.points);
    this.viewer.redraw();
  }

  move(point, event, pressed) {
    this.at = this.viewer.toPortrait(point.x, point.y);
    if (pressed && this.points) {
      this.points.push(this.at);
      this.drawing?.(this.points);
    }
    this.viewer.redraw();
  }

  async up() {
    const { points } = this;
    this.points = null;
    if (points) await this.paint(points);
    this.viewer.redraw();
  }

  /** A second finger came down: it is no stroke. */
  cancel() {
    this.points = null;
    this.drawing?.(null);
    this.viewer.redraw();
  }
}

/** The circle of a brush, black and white, so that it is seen on anything. */
export function drawCircle(context, x, y, radius, density) {
  for (const [colour, width] of [["#000", 3], ["#fff", 1]]) {
    context.strokeStyle = colour;
    context.lineWidth = width * density;
    context.beginPath();
    context.arc(x, y, radius, 0, 7);
    context.stroke();
  }
}

/** Points along a stroke, so near to each other that nothing between them is missed. */
export function dabbed(points, spacing) {
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
