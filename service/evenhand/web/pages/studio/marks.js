// Marks as a numbered list and on the picture: keep or remove one by one.

import { element, refill } from "../element.js";
import { say, sayNumber, sayPercent } from "../words.js";

const REACH = 26; // CSS pixels within which a click picks a mark
const LEAST = 9; // radius of a ring, CSS pixels

export function marksPanel(studio, viewer, portrait, kept, keep) {
  let marks = [], people = new Map(), chosen = kept.mark ?? null, on = kept.marks !== "0";
  const list = element("ol", { class: "marks" });
  const show = element("input", { type: "checkbox", checked: on, onchange: () => toggle() });
  const count = element("span", { class: "quiet" });
  const root = element("details", { class: "panel", open: kept.marksopen !== "0",
    ontoggle: () => keep({ marksopen: root.open ? null : "0" }) },
    element("summary", {}, element("h2", {}, say("marks")), count),
    element("p", { class: "quiet" }, say("marks.how")),
    element("label", { class: "line" }, show, element("span", {}, say("marks.show"))), list);

  const toggle = () => {
    panel.on = on = !on;
    show.checked = on;
    keep({ marks: on ? null : "0" });
    viewer.redraw();
  };
  const outcome = (mark) => mark.decision ?? mark.proposed;

  const decide = (mark, decision) => {
    if (mark.decision === decision) return;
    const path = `/v1/marks/${mark.id}`;
    const before = mark.decision;
    // Marks get new identifiers when layers are computed anew: the deed says which one by its number.
    studio.do({ label: say(`marks.done.${decision}`, { number: mark.number }),
      redo: { method: "PUT", path, json: { decision }, mark: { portrait: portrait.id, person: mark.person, number: mark.number } },
      undo: { method: "PUT", path, json: { decision: before }, mark: { portrait: portrait.id, person: mark.person, number: mark.number } } });
  };

  const choose = (mark, look = true) => {
    chosen = mark?.id ?? null;
    keep({ mark: chosen });
    if (mark && look && viewer.view.zoom !== null) viewer.lookAt(mark.column, mark.row);
    drawList();
    viewer.redraw();
  };

  const drawList = () => refill(list, [marks, chosen], () => marks.length ? marks.map((mark) =>
    element("li", { class: mark.id === chosen ? "chosen" : null, value: mark.number },
      element("button", { type: "button", class: "which", "data-key": `mark:${mark.id}`,
        "aria-current": mark.id === chosen ? "true" : null, onclick: () => choose(mark) },
        element("strong", {}, String(mark.number)), " ",
        say(`marks.${mark.kind}`), ", ", say(`region.${mark.region}`), ", ",
        say("marks.size", { size: sayNumber(mark.size_mm) }), ", ", say("marks.sure", { share: sayPercent(mark.confidence) })),
      mark.wish && element("span", { class: "wish" }, say("marks.wish", { wish: say(`wish.${mark.wish}`) })),
      element("span", { role: "radiogroup", "aria-label": say("marks.number", { number: mark.number }) },
        ["keep", "remove"].map((decision) =>
          element("button", { type: "button", role: "radio", "aria-checked": String(outcome(mark) === decision),
            "data-key": `${decision}:${mark.id}`, onclick: () => { choose(mark, false); decide(mark, decision); } },
            say(`marks.${decision}`))))))
    : element("li", { class: "empty" }, say("marks.none")));

  const radius = (mark, scale, density) =>
    Math.max(LEAST * density, mark.size_mm / people.get(mark.person) * 0.9 * scale);

  /** How much it matters that a mark's number is seen where numbers would lie on each other. */
  const weight = (mark) => (mark.id === chosen ? 2 : outcome(mark) === "remove" ? 1 : 0);

  viewer.above.push((context, { x, y, scale, density }) => {
    if (!on) return;
    const letter = 12 * density, taken = [];
    context.font = `600 ${letter}px system-ui, sans-serif`;
    for (const mark of [...marks].sort((one, other) => weight(other) - weight(one))) {
      const r = radius(mark, scale, density), cx = x + mark.column * scale, cy = y + mark.row * scale;
      const line = (mark.id === chosen ? 3 : 1.5) * density;
      context.setLineDash(outcome(mark) === "keep" ? [4 * density, 4 * density] : []);
      for (const [colour, width] of [["rgb(0 0 0 / 0.75)", line + 2 * density], ["#fff", line]]) {
        context.strokeStyle = colour;
        context.lineWidth = width;
        context.beginPath();
        context.arc(cx, cy, r, 0, 7);
        context.stroke();
      }
      context.setLineDash([]);
      const left = cx + r + 2 * density, right = left + context.measureText(mark.number).width, top = cy - r - letter;
      if (taken.some((other) => left < other.right && right > other.left && Math.abs(top - other.top) < letter)) continue;
      taken.push({ left, right, top });
      context.lineWidth = 3 * density;
      context.strokeStyle = "rgb(0 0 0 / 0.8)";
      context.fillStyle = "#fff";
      context.strokeText(mark.number, left, cy - r);
      context.fillText(mark.number, left, cy - r);
    }
  });

  viewer.overlay.addEventListener("click", (event) => {
    if (!on || viewer.pointing) return;
    const point = viewer.pointAt(event), origin = viewer.origin(viewer.paneAt(point.x)), scale = viewer.scale();
    const far = (mark) => Math.hypot(origin.x + mark.column * scale - point.x, origin.y + mark.row * scale - point.y);
    const near = [...marks].sort((one, other) => far(one) - far(other))[0];
    if (near && far(near) < REACH * viewer.density + radius(near, scale, viewer.density)) choose(near, false);
  });

  const panel = {
    root, on,
    show(now, found) {
      people = new Map(found.map((person) => [person.id, person.mm_per_pixel]));
      const before = marks.find((mark) => mark.id === chosen);
      marks = now;
      if (before && !marks.some((mark) => mark.id === chosen)) {
        chosen = marks.find((mark) => mark.person === before.person && mark.number === before.number)?.id ?? null;
      }
      const removed = marks.filter((mark) => outcome(mark) === "remove").length;
      count.textContent = marks.length ? say("marks.count", { count: marks.length, removed }) : "";
      drawList();
      viewer.redraw();
    },
    key(letter) {
      const at = marks.findIndex((mark) => mark.id === chosen);
      if (letter === "m") toggle();
      else if ((letter === "n" || letter === "p") && marks.length) {
        const step = letter === "n" ? 1 : -1;
        choose(marks[(at < 0 ? (step > 0 ? 0 : marks.length - 1) : at + step + marks.length) % marks.length]);
        list.querySelector(".chosen")?.scrollIntoView({ block: "nearest" });
      } else if ((letter === "k" || letter === "r") && at >= 0) decide(marks[at], letter === "k" ? "keep" : "remove");
      else return false;
      return true;
    },
  };
  return panel;
}
