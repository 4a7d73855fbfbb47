// Marks: only what is proposed, doubtful or wished for is listed, the rest is counted. With the tool
// in hand, rings are shown, and a click on a spot of the picture takes it out or keeps it, found or not.

import { element, icon, refill } from "../element.js";
import { Skins } from "./skins.js";
import { say, sayNumber, sayPercent } from "../words.js";

const REACH = 18; // CSS pixels within which a click picks a mark
const LEAST = 9; // radius of a ring, CSS pixels
const MOVED = 5; // CSS pixels beyond which a press is no click
const SURE = 0.7; // confidence from which the service proposes a passing mark
const POINTED_MM = 4; // how far a point may lie from the middle of the mark that it made

export function marksPanel(studio, viewer, portrait, kept, keep) {
  const skins = new Skins(studio.service, portrait);
  let marks = [], people = new Map(), chosen = kept.mark ?? null, on = kept.marks === "1", tool = false, all = false;
  const list = element("ol", { class: "marks" });
  const show = element("input", { type: "checkbox", checked: on, onchange: () => toggle() });
  const count = element("span", { class: "quiet" });
  const rest = element("button", { type: "button", class: "quiet", hidden: true, onclick: () => { all = !all; drawList(); } });
  const root = element("details", { class: "panel", open: kept.marksopen !== "0",
    ontoggle: () => keep({ marksopen: root.open ? null : "0" }) },
    element("summary", {}, element("h2", {}, say("marks")), count),
    element("p", { class: "quiet" }, say("marks.how")),
    element("label", { class: "line" }, show, element("span", {}, say("marks.show"))), list, rest);

  const toggle = () => {
    panel.on = on = !on;
    show.checked = on;
    keep({ marks: on ? "1" : null });
    viewer.redraw();
  };
  const outcome = (mark) => mark.decision ?? mark.proposed;
  const doubtful = (mark) => mark.kind === "passing" && mark.confidence < SURE;
  const listed = (mark) => all || outcome(mark) === "remove" || doubtful(mark) || mark.wish || mark.decision || mark.id === chosen;
  const pointsOf = (person) => person.settings.marks?.removed_at ?? [];
  const pointOf = (mark) => {
    const person = people.get(mark.person);
    const far = ([column, row]) => Math.hypot(column - mark.column, row - mark.row) * person.mm_per_pixel;
    return pointsOf(person).filter((point) => far(point) < POINTED_MM).sort((one, other) => far(one) - far(other))[0];
  };

  /** Where the photographer pointed at spots that were not found. */
  const setPoints = (person, points, label) => {
    const path = `/v1/people/${person.id}/steps/marks`, before = person.settings.marks ?? {};
    return studio.do({ label, redo: { method: "PUT", path, json: { ...before, removed_at: points } }, undo: { method: "PUT", path, json: before } });
  };

  const decide = (mark, decision) => {
    const point = decision === "keep" && pointOf(mark);
    if (point) {
      const person = people.get(mark.person);
      return setPoints(person, pointsOf(person).filter((one) => one !== point), say("marks.done.keep", { number: mark.number }));
    }
    if (mark.decision === decision) return null;
    const path = `/v1/marks/${mark.id}`;
    const before = mark.decision;
    // Marks get new identifiers when layers are computed anew: the deed says which one by its number.
    const which = { portrait: portrait.id, person: mark.person, number: mark.number };
    return studio.do({ label: say(`marks.done.${decision}`, { number: mark.number }),
      redo: { method: "PUT", path, json: { decision }, mark: which },
      undo: { method: "PUT", path, json: { decision: before }, mark: which } });
  };

  const choose = (mark, look = true) => {
    chosen = mark?.id ?? null;
    keep({ mark: chosen });
    if (mark && look && viewer.view.zoom !== null) viewer.lookAt(mark.column, mark.row);
    drawList();
    viewer.redraw();
  };

  const drawList = () => {
    const now = marks.filter(listed), left = marks.length - marks.filter((mark) => outcome(mark) === "remove").length;
    refill(list, [now, chosen], () => now.length ? now.map((mark) =>
      element("li", { class: mark.id === chosen ? "chosen" : null, value: mark.number },
        element("button", { type: "button", class: "which", "data-key": `mark:${mark.id}`,
          "aria-current": mark.id === chosen ? "true" : null, onclick: () => choose(mark) },
          element("strong", {}, String(mark.number)), " ",
          say(`marks.${mark.kind}`), ", ", say(`region.${mark.region}`), ", ",
          say("marks.size", { size: sayNumber(mark.size_mm) }), doubtful(mark) && [", ", say("marks.doubtful", { share: sayPercent(mark.confidence) })]),
        mark.wish && element("span", { class: "wish" }, say("marks.wish", { wish: say(`wish.${mark.wish}`) })),
        element("span", { role: "radiogroup", "aria-label": say("marks.number", { number: mark.number }) },
          ["keep", "remove"].map((decision) =>
            element("button", { type: "button", role: "radio", "aria-checked": String(outcome(mark) === decision),
              "data-key": `${decision}:${mark.id}`, onclick: () => { choose(mark, false); decide(mark, decision); } },
              say(`marks.${decision}`))))))
      : element("li", { class: "quiet" }, say(marks.length ? "marks.none-proposed" : "marks.none")));
    rest.hidden = !marks.some((mark) => !listed(mark)) && !all;
    rest.textContent = say(all ? "marks.fewer" : "marks.kept", { count: left });
  };

  const radius = (mark, scale, density) =>
    Math.max(LEAST * density, mark.size_mm / people.get(mark.person).mm_per_pixel * 0.9 * scale);

  /** How much it matters that a mark's number is seen where numbers would lie on each other. */
  const weight = (mark) => (mark.id === chosen ? 2 : outcome(mark) === "remove" ? 1 : 0);

  viewer.above.push((context, { x, y, scale, density }) => {
    const ringed = on || tool ? marks : marks.filter((mark) => mark.id === chosen);
    const letter = 12 * density, taken = [];
    context.font = `600 ${letter}px "Hanken Grotesk", system-ui, sans-serif`;
    for (const mark of [...ringed].sort((one, other) => weight(other) - weight(one))) {
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

  const markAt = (point) => {
    const origin = viewer.origin(viewer.paneAt(point.x)), scale = viewer.scale();
    const far = (mark) => Math.hypot(origin.x + mark.column * scale - point.x, origin.y + mark.row * scale - point.y);
    const near = [...marks].sort((one, other) => far(one) - far(other))[0];
    return near && far(near) < Math.max(REACH * viewer.density, radius(near, scale, viewer.density)) ? near : null;
  };

  /** Take out or keep the spot at a point of the canvas; one that was not found is pointed at. */
  const turn = async (point) => {
    const mark = markAt(point);
    if (mark) {
      choose(mark, false);
      return decide(mark, outcome(mark) === "remove" ? "keep" : "remove");
    }
    try {
      await skins.loaded;
    } catch (error) {
      return studio.trouble(error.message);
    }
    const at = viewer.toPortrait(point.x, point.y), whose = skins.at(at);
    if (!whose) return studio.news(say("burns.no-skin"));
    const person = people.get(whose.id);
    if (!person?.agreed.includes("marks")) return studio.news(say("marks.not-agreed", { name: person?.name ?? say("people.unnamed") }));
    studio.news(say("marks.pointed"));
    return setPoints(person, [...pointsOf(person), [Math.floor(at.x), Math.floor(at.y)]], say("marks.done.pointed"));
  };

  const take = (now) => {
    tool = now;
    if (tool) skins.load([...people.values()]).catch((error) => studio.trouble(error.message));
    viewer.overlay.classList.toggle("pointing", tool);
    panel.changed();
    viewer.redraw();
  };

  let pressed = null;
  viewer.overlay.addEventListener("pointerdown", (event) => { pressed = { x: event.clientX, y: event.clientY }; });
  viewer.overlay.addEventListener("click", (event) => {
    if (viewer.pointing || (pressed && Math.hypot(event.clientX - pressed.x, event.clientY - pressed.y) > MOVED)) return;
    const point = viewer.pointAt(event);
    if (tool) turn(point);
    else if (on) {
      const mark = markAt(point);
      if (mark) choose(mark, false);
    }
  });

  const panel = {
    root, on,
    changed: () => undefined, // called when the tool was taken or put away
    pointing: () => tool,
    tool: () => element("button", { type: "button", "aria-pressed": String(tool), "data-key": "spots", title: say("marks.tool-how"),
      onclick: () => take(!tool) }, icon("spot"), element("span", { class: "word" }, say("marks.tool"))),
    show(now, found) {
      people = new Map(found.map((person) => [person.id, person]));
      const before = marks.find((mark) => mark.id === chosen);
      marks = now;
      if (before && !marks.some((mark) => mark.id === chosen)) {
        chosen = marks.find((mark) => mark.person === before.person && mark.number === before.number)?.id ?? null;
      }
      const removed = marks.filter((mark) => outcome(mark) === "remove").length;
      count.textContent = marks.length ? say("marks.count", { removed, kept: marks.length - removed }) : "";
      drawList();
      viewer.redraw();
    },
    key(letter) {
      const walked = marks.filter(listed), at = walked.findIndex((mark) => mark.id === chosen);
      if (letter === "m") toggle();
      else if (letter === "t") take(!tool);
      else if ((letter === "n" || letter === "p") && walked.length) {
        const step = letter === "n" ? 1 : -1;
        choose(walked[(at < 0 ? (step > 0 ? 0 : walked.length - 1) : at + step + walked.length) % walked.length]);
        list.querySelector(".chosen")?.scrollIntoView({ block: "nearest" });
      } else if ((letter === "k" || letter === "r") && at >= 0) decide(walked[at], letter === "k" ? "keep" : "remove");
      else return false;
      return true;
    },
    /** Put the tool away, where it is in hand. */
    away() {
      if (!tool) return false;
      take(false);
      return true;
    },
  };
  return panel;
}
