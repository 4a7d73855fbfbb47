// Outlines of the burns that would go, asked for again with every point of a stroke.

/** One question at a time: while the service answers, only the newest one of each person waits. */
export class Outlines {
  /** @param service  @param {() => void} changed  called when there is something else to draw */
  constructor(service, changed) {
    Object.assign(this, { service, changed, lines: new Map(), asked: new Map(), waiting: new Map(), busy: false, round: 0 });
  }

  /** Ask for a person's outlines, told the points of settings of redness. */
  ask(person, { burnt_at = [], leave_at = [], before_burn = null }) {
    const points = { burnt_at, leave_at }, key = JSON.stringify([points, before_burn]);
    if (this.asked.get(person) === key) return;
    this.asked.set(person, key);
    this.waiting.set(person, points);
    if (!this.busy) this.#answer();
  }

  /** Forget them all; an answer on its way comes to nothing. */
  clear() {
    this.round++;
    for (const kept of [this.lines, this.asked, this.waiting]) kept.clear();
  }

  async #answer() {
    this.busy = true;
    while (this.waiting.size) {
      const [[person, points]] = this.waiting, { round } = this;
      this.waiting.delete(person);
      let outlines = [];
      try {
        ({ outlines } = await this.service.post(`/v1/people/${person}/burn-outlines`, points));
      } catch {
        this.asked.delete(person); // what counts is what is told once the stroke has ended
      }
      if (round !== this.round) continue;
      this.lines.set(person, outlines);
      this.changed();
    }
    this.busy = false;
  }

  draw(context, { x, y, scale, density }) {
    context.lineJoin = "round";
    for (const [colour, width] of [["rgb(0 0 0 / 0.7)", 3.5], ["#fff", 1.5]]) {
      context.strokeStyle = colour;
      context.lineWidth = width * density;
      context.beginPath();
      for (const line of [...this.lines.values()].flat()) {
        line.forEach(([column, row], at) => context[at ? "lineTo" : "moveTo"](x + column * scale, y + row * scale));
        context.closePath();
      }
      context.stroke();
    }
  }
}
