// Burns: the photographer points at what is burnt and at what is to be left, and says how much goes
// in each region. Redness is computed again after each word; what was found then is told.

import { element, icon } from "../element.js";
import { shareSlider } from "../slider.js";
import { dabbed, drawCircle, Stroke } from "../stroke.js";
import { earlierLine, othersOf } from "./earlier.js";
import { found, whereOf, wouldGo } from "./found.js";
import { lettersOn } from "./keys.js";
import { Outlines } from "./outlines.js";
import { SKIN } from "./parts.js";
import { say } from "../words.js";
import { Skins } from "./skins.js";

const BRUSHES = { burnt: "burnt_at", leave: "leave_at" }; // and the setting that each fills
const KEYS = { h: "burnt", l: "leave" };
const POINT_MM = 4; // radius around a point that the engine takes for what was pointed at
const MOST_OF_STROKE = 24; // points: one is enough for a burn, more say where its parts are
const STILL = 4; // CSS pixels that a click may move
const REACH = 14; // CSS pixels within which a click takes a point back
const SIZE = 6; // half the size of a point, CSS pixels

const far = (one, other) => Math.hypot(one.x - other.x, one.y - other.y);
const middleOf = ([column, row]) => ({ x: column + 0.5, y: row + 0.5 });
const radiusOf = (person) => POINT_MM / person.mm_per_pixel;

export function burnsPanel(studio, viewer, portrait, pictures) {
  const skins = new Skins(studio.service, portrait);
  const said = new Map(); // settings by person, as just said, until the service tells them too
  const waiting = new Set(); // people whose redness is being computed again
  let people = [], others = new Map(), brush = null, inFlight = 0, saidAt = 0;
  const growing = new Outlines(studio.service, () => viewer.redraw());
  const hint = element("p", { class: "hint", role: "status", hidden: true });

  const settingsOf = (person) => said.get(person.id) ?? person.settings.redness ?? {};
  const pointsOf = (person) => Object.entries(BRUSHES).flatMap(([kind, name]) =>
    (settingsOf(person)[name] ?? []).map((point) => ({ person, kind, name, point })));

  /** Say something of a person's redness; the service computes it again. */
  const set = async (person, settings, label, same) => {
    const path = `/v1/people/${person.id}/steps/redness`, before = settingsOf(person);
    said.set(person.id, settings);
    waiting.add(person.id);
    inFlight++;
    if (brush) growing.ask(person.id, settings);
    panel.changed();
    const done = await studio.do({ label, same, redo: { method: "PUT", path, json: settings }, undo: { method: "PUT", path, json: before } });
    inFlight--;
    if (done) return;
    said.delete(person.id);
    waiting.delete(person.id);
    askOutlines();
    panel.changed();
  };

  const mayBePointedAt = (person) => person.agreed.includes("redness");

  /** Outline what goes as it was said; nothing while a stroke is drawn, which asks for itself. */
  const askOutlines = () => {
    if (!brush || stroke.points) return;
    for (const person of people.filter(mayBePointedAt)) growing.ask(person.id, settingsOf(person));
  };

  /** The portrait before the burn that was named, while it still shows the person. */
  const earlierOf = (person) => {
    const { before_burn } = settingsOf(person);
    return others.get(person.id)?.some((one) => one.portrait.id === before_burn) ? before_burn : undefined;
  };

  /** Whether a layer was computed before a person's settings were what they are. */
  const isBehind = (person, layer) =>
    told({ ...settingsOf(person), before_burn: earlierOf(person) }) !== told(layer.settings);

  const nameOf = (person) => person.name ?? say("people.unnamed");

  /** What is said of redness, with more points of a kind. */
  const withPoints = (person, kind, points) => {
    const mine = BRUSHES[kind], settings = settingsOf(person);
    const other = Object.values(BRUSHES).find((name) => name !== mine);
    const near = (old) => points.some((one) => far(middleOf(one), middleOf(old)) < radiusOf(person));
    return { ...settings, [mine]: [...(settings[mine] ?? []), ...points],
      [other]: (settings[other] ?? []).filter((old) => !near(old)) }; // the last word counts
  };

  const point = (person, kind, points) =>
    set(person, withPoints(person, kind, points), say(`burns.pointed.${kind}`, { name: nameOf(person) }));

  /** Name the portrait before the burn, or none. */
  const chooseEarlier = (person, id) => {
    const { before_burn, ...rest } = settingsOf(person);
    if ((before_burn ?? null) === id) return;
    const one = others.get(person.id).find(({ portrait }) => portrait.id === id);
    return set(person, id ? { ...rest, before_burn: id } : rest, id
      ? say("earlier.said", { portrait: one.portrait.name, name: nameOf(person) }) : say("earlier.said-none", { name: nameOf(person) }));
  };

  const takeBack = (person, gone) => {
    const settings = { ...settingsOf(person) };
    for (const name of Object.values(BRUSHES)) settings[name] = (settings[name] ?? []).filter((one) => !gone(one));
    return set(person, settings, say("burns.taken-back", { name: nameOf(person) }));
  };

  /** Whose skin a stroke covers most, and its points there; null where it misses all skin. */
  const covered = (points) => {
    const dabs = dabbed(points, Math.max(1, 1 / viewer.scale()));
    const count = new Map();
    for (const dab of dabs) {
      const person = skins.at(dab);
      if (person) count.set(person, (count.get(person) ?? 0) + 1);
    }
    if (!count.size) return null;
    const [person] = [...count].sort((one, other) => other[1] - one[1])[0];
    const mine = dabs.filter((dab) => skins.at(dab) === person);
    let spacing = 2 * radiusOf(person), kept;
    do {
      kept = [];
      for (const dab of mine) if (kept.every((one) => far(one, dab) >= spacing)) kept.push(dab);
      spacing *= 1.5;
    } while (kept.length > MOST_OF_STROKE);
    return { person, points: kept.map(({ x, y }) => [Math.floor(x), Math.floor(y)]) };
  };

  const stroke = new Stroke(viewer, () => take(null));
  stroke.drawing = (points) => {
    if (!points) return askOutlines();
    const on = covered(points), person = on && people.find((one) => one.id === on.person.id);
    if (person && mayBePointedAt(person)) growing.ask(person.id, withPoints(person, brush, on.points));
  };
  stroke.paint = async (points) => {
    const density = viewer.density / viewer.scale();
    if (points.every((one) => far(one, points[0]) < STILL * density)) {
      const hit = people.flatMap(pointsOf).map((one) => ({ ...one, far: far(middleOf(one.point), points[0]) }))
        .sort((one, other) => one.far - other.far)[0];
      if (hit && hit.far < REACH * density) return takeBack(hit.person, (one) => one === hit.point);
    }
    try {
      await skins.loaded;
    } catch (error) {
      return studio.trouble(error.message);
    }
    const on = covered(points);
    if (!on) return studio.news(say("burns.no-skin"));
    const person = people.find((one) => one.id === on.person.id);
    if (!person || !mayBePointedAt(person)) return studio.news(say("burns.not-agreed", { name: nameOf(on.person) }));
    await point(person, brush, on.points);
  };
  stroke.draw = (context, { x, y, scale, density }) => {
    growing.draw(context, { x, y, scale, density });
    const at = stroke.at ?? (document.activeElement === viewer.root ? viewer.view : null); // by key: amid the view
    const person = at && skins.at(at);
    if (at) {
      const radius = person ? Math.max(SIZE * density, radiusOf(person) * scale) : SIZE * density;
      context.setLineDash(person ? [] : [3 * density, 3 * density]);
      drawCircle(context, x + at.x * scale, y + at.y * scale, radius, density);
      context.setLineDash([]);
    }
    const on = stroke.points && covered(stroke.points);
    if (!on) return;
    context.fillStyle = "rgb(255 255 255 / 0.45)";
    context.beginPath();
    for (const one of on.points.map(middleOf)) {
      context.moveTo(x + one.x * scale, y + one.y * scale);
      context.arc(x + one.x * scale, y + one.y * scale, Math.max(SIZE * density, radiusOf(on.person) * scale), 0, 7);
    }
    context.fill();
    on.points.forEach((one) => drawPoint(context, middleOf(one), brush, false, { x, y, scale, density }));
  };

  /** Take the brush that says burnt or leave, or put it away. */
  const take = (which) => {
    if (!brush && which) {
      stroke.start();
      skins.load(people).then(() => viewer.redraw(), (error) => studio.trouble(error.message));
    }
    if (brush && !which) {
      stroke.stop();
      growing.clear();
    }
    brush = which;
    askOutlines();
    hint.hidden = !which;
    hint.textContent = which ? say(`burns.how.${which}`) : "";
    panel.changed();
  };

  viewer.above.push((context, view) => {
    for (const one of people.flatMap(pointsOf)) {
      const waits = waiting.has(one.person.id);
      if (brush || waits) drawPoint(context, middleOf(one.point), one.kind, waits, view);
    }
  });

  const regionStrength = (person, region) => {
    const now = settingsOf(person).by_region?.[region] ?? 1;
    return shareSlider({ id: `region-${person.id}-${region}`, label: say(`region.${region}`), value: now,
      key: `region:${person.id}.${region}`, chosen: (share) => {
        const by_region = { ...settingsOf(person).by_region, [region]: share };
        if (share === 1) delete by_region[region];
        return set(person, { ...settingsOf(person), by_region },
          say("burns.region-of", { region: say(`region.${region}`), name: nameOf(person) }), `${person.id}.${region}`);
      } });
  };

  /** What is told while redness is behind what was said. */
  const pending = (failed) => element("li", {}, failed ? [
    element("span", { class: "wrong" }, failed.trouble, " ", failed.advice),
    element("button", { type: "button", "data-key": `retry:${failed.id}`, onclick: async () => {
      try {
        await studio.service.post(`/v1/jobs/${failed.id}/retry`);
      } catch (error) {
        studio.trouble(error.message);
      }
      studio.changed();
    } }, say("burns.retry"))] : say("burns.working"));

  const opened = new Set(); // people whose strengths by region are unfolded
  const panel = {
    hint,
    changed: () => undefined, // called when something here has to be drawn again
    brush: () => brush,
    said: () => [...said],
    /** The portraits that may be named as the one before a person's burn. */
    earlier: (person) => (others.get(person.id) ?? []).map((one) => [one.portrait.id, one.shares]),
    /** Buttons that take a brush. */
    tools: () => Object.keys(BRUSHES).map((which) => element("button", { type: "button", "aria-pressed": String(brush === which),
      "data-key": `point:${which}`, onclick: () => take(brush === which ? null : which) }, icon(which === "burnt" ? "burnt" : "stay"),
      element("span", { class: "word" }, say(`burns.${which}`)))),
    /** What was found on a person, how much of it goes in each region, and the points. */
    of(person, layer, failed) {
      const points = pointsOf(person), regions = SKIN.filter((one) => person.regions.some(({ region }) => region === one));
      const count = (kind) => points.filter((one) => one.kind === kind).length;
      const folded = element("details", { class: "by-region", open: opened.has(person.id),
        ontoggle: () => opened[folded.open ? "add" : "delete"](person.id) },
        element("summary", { "data-key": `regions:${person.id}` }, say("burns.by-region")),
        regions.map((region) => regionStrength(person, region)));
      return [
        element("ul", { class: "found" }, isBehind(person, layer) ? pending(failed) : found(layer.facts).map(({ text, burns }) => element("li", {}, element("span", {}, text),
            burns.filter(wouldGo).map((burn) => element("button", { type: "button",
              "data-key": `burn:${person.id}.${burn.at}`, onclick: () => point(person, "burnt", [burn.at]) },
              say("burns.take-off", { where: whereOf([burn]) })))))),
        element("p", { class: "quiet" }, say("burns.flush")),
        points.length > 0 && element("p", { class: "agreed" },
          element("span", {}, say("burns.points", { burnt: count("burnt"), leave: count("leave") })),
          element("button", { type: "button", "data-key": `points:${person.id}`,
            onclick: () => takeBack(person, () => true) }, say("burns.take-back"))),
        earlierLine(pictures, { person, others: others.get(person.id), chosen: settingsOf(person).before_burn }, (id) => chooseEarlier(person, id)),
        folded];
    },
    /** The job that should have computed somebody's redness again, where it failed. */
    async failure(now, layers) {
      if (!layers.some((layer) => layer.step === "redness" && isBehind(now.find(({ id }) => id === layer.person), layer))) return null;
      const jobs = await studio.service.get(`/v1/shoots/${portrait.shoot_id}/jobs`);
      const last = jobs.find((job) => job.portrait_id === portrait.id && job.kind === "compute layers");
      return last?.state === "failed" ? last : null;
    },
    /** Something was changed, and the service has it: what is asked from now on is true. */
    refresh: () => { saidAt = performance.now(); },
    /** Whether what was asked for at a moment still holds. */
    holds: (askedAt) => !inFlight && askedAt >= saidAt,
    show(now, layers, everybody, portraits) {
      people = now;
      others = new Map(people.map((person) => [person.id, othersOf(person, portrait, everybody, portraits)]));
      said.clear();
      const redness = new Map(layers.filter((layer) => layer.step === "redness").map((layer) => [layer.person, layer]));
      for (const person of people) {
        const layer = redness.get(person.id);
        if (layer && isBehind(person, layer)) waiting.add(person.id);
        else if (waiting.delete(person.id) && layer) studio.news(`${nameOf(person)}: ${found(layer.facts).map(({ text }) => text).join(". ")}.`);
      }
      askOutlines();
      viewer.redraw();
    },
    key(event) {
      const which = lettersOn() && KEYS[event.key.toLowerCase()];
      if (which) take(brush === which ? null : which);
      else if (brush && event.key === "Escape") take(null);
      else if (brush && event.key === " " && event.target.closest(".viewer")) stroke.paint([{ x: viewer.view.x, y: viewer.view.y }]);
      else return false;
      return true;
    },
  };
  return panel;
}

/** What was said of redness in a step's settings, to be compared. */
const told = ({ burnt_at = [], leave_at = [], by_region = {}, before_burn = null }) =>
  JSON.stringify([burnt_at, leave_at, Object.entries(by_region).sort(), before_burn]);

/** A point: a ring with its middle where it is burnt, a square where it is to be left; broken while it waits. */
function drawPoint(context, point, kind, waits, { x, y, scale, density }) {
  const cx = x + point.x * scale, cy = y + point.y * scale, size = SIZE * density;
  for (const [colour, width] of [["rgb(0 0 0 / 0.8)", 4], ["#fff", 2]]) {
    context.strokeStyle = context.fillStyle = colour;
    context.lineWidth = width * density;
    context.setLineDash(waits && colour === "#fff" ? [3 * density, 3 * density] : []);
    context.beginPath();
    if (kind === "leave") context.rect(cx - size, cy - size, 2 * size, 2 * size);
    else context.arc(cx, cy, size, 0, 7);
    context.stroke();
    if (kind === "leave") continue;
    context.beginPath();
    context.arc(cx, cy, width / 2 * density, 0, 7);
    context.fill();
  }
  context.setLineDash([]);
}
