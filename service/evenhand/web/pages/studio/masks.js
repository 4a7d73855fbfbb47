// Masks: shown hatched over the picture, corrected with a brush; every stroke can be undone.

import { Brush, dataOf, radiusAt, SIZES } from "../brush.js";
import { element, refill } from "../element.js";
import { lettersOn } from "./keys.js";
import { SKIN } from "./parts.js";
import { say } from "../words.js";

const REGIONS = [...SKIN, "eye", "brow", "nostril", "lip", "teeth", "beard", "hair", "jewellery", "cloth"];
const SIDE = 1200; // longer side asked for, pixels
const HATCH = 3; // pixels of a stripe, as a power of two

const ALL_SKIN = "skin"; // every region of skin at once

/** Regions that a person has, skin first; then those of skin that they have not, to be painted. */
function regionsOf(person) {
  const has = new Set(person.regions.map(({ region }) => region));
  return [ALL_SKIN, ...REGIONS.filter((one) => has.has(one)), ...SKIN.filter((one) => !has.has(one))]
    .map((region) => ({ region, has: region === ALL_SKIN || has.has(region) }));
}

export function masksPanel(studio, viewer, portrait, kept, keep) {
  let people = [], picture = null, asked = 0, working = false, size = Number(kept.brush ?? 5);
  let chosen = kept.mask ?? ""; // person.region
  let paint = null; // in, out or nothing
  let forBrush = false; // whether skin is shown for its brush alone
  const choose = element("select", { id: "mask-region", "data-key": "mask-region", onchange: () => pick(choose.value) });
  const tools = element("div", { role: "radiogroup", "aria-label": say("masks.brush") });
  const note = element("p", { class: "quiet", role: "status" });
  const sizeSlider = (id) => {
    const made = element("input", { type: "range", id, min: "0", max: String(SIZES.length - 1), value: String(size),
      oninput: () => resize(Number(made.value)) });
    return made;
  };
  const slider = sizeSlider("brush-size"), near = sizeSlider("brush-size-near");
  const how = element("span", { role: "status" });
  const hint = element("div", { class: "hint", hidden: true }, how,
    element("label", { for: "brush-size-near" }, say("masks.size")), near);
  const root = element("details", { class: "panel", open: Boolean(chosen) },
    element("summary", {}, element("h2", {}, say("masks"))),
    element("label", { for: "mask-region" }, say("masks.which")), choose,
    tools, element("label", { for: "brush-size" }, say("masks.size")), slider,
    element("p", { class: "quiet" }, say("masks.how")), note);

  const brush = new Brush(viewer, () => take(null), async ({ png, left, top }) => {
    const [person, region] = chosen.split(".");
    const data = await dataOf(png);
    const path = `/v1/people/${person}/mask-edits?region=${encodeURIComponent(region)}&paint=${paint}&left=${left}&top=${top}`;
    await studio.do({ label: region === ALL_SKIN ? say(`skin.${paint}-of`, { name: nameOf(people.find(({ id }) => id === person)) })
      : say(`masks.painted.${paint}`, { region: say(`region.${region}`) }),
      redo: { method: "POST", path, png: data }, undo: { method: "DELETE", path: "/v1/mask-edits/{made}" } });
    await load();
  });

  const resize = (now) => {
    size = Math.min(SIZES.length - 1, Math.max(0, now));
    slider.value = near.value = String(size);
    brush.radius = radiusAt(size, portrait);
    keep({ brush: size === 5 ? null : size });
    viewer.redraw();
  };

  const pick = (value) => {
    chosen = value;
    keep({ mask: value || null });
    if (!value) take(null);
    picture = null;
    load();
    draw();
  };

  /** Take the brush that paints in or out, or put it away. */
  const take = (which) => {
    if (which && !chosen) {
      const first = people.find((person) => person.regions.length) ?? people[0];
      if (!first) return;
      pick(`${first.id}.${regionsOf(first).find(({ region, has }) => has && region !== ALL_SKIN)?.region ?? ALL_SKIN}`);
    }
    if (!paint && which) brush.start();
    if (paint && !which) brush.stop();
    paint = which;
    if (!which && forBrush) {
      forBrush = false;
      pick("");
    }
    root.open ||= Boolean(which);
    draw();
    panel.changed();
  };

  const load = async () => {
    if (!chosen) return viewer.redraw();
    const number = ++asked;
    const [person, region] = chosen.split(".");
    try {
      const path = region === ALL_SKIN ? "skin" : `masks/${region}`;
      const blob = await studio.service.picture(`/v1/people/${person}/${path}.png?side=${SIDE}`);
      const bitmap = await createImageBitmap(blob, { colorSpaceConversion: "none" });
      if (number !== asked) return;
      picture = hatched(bitmap);
      viewer.redraw();
    } catch (error) {
      if (error.status === 404) picture = null;
      else studio.trouble(error.message);
    }
  };

  const draw = () => {
    refill(choose, [people.map((person) => [person.id, person.name, person.regions])], () => [
      element("option", { value: "" }, say("masks.nothing")),
      people.map((person) => element("optgroup", { label: nameOf(person) },
        regionsOf(person).map(({ region, has }) => element("option", { value: `${person.id}.${region}` },
          has ? say(`region.${region}`) : say("masks.not-found", { region: say(`region.${region}`) })))))]);
    if (choose.value !== chosen) choose.value = chosen;
    refill(tools, [paint], () => [null, "in", "out"].map((which) =>
      element("button", { type: "button", role: "radio", "aria-checked": String(which === paint), "data-key": `brush:${which}`,
        onclick: () => take(which) }, say(`masks.${which ?? "look"}`))));
    const text = working ? say("masks.working") : "";
    if (note.textContent !== text) note.textContent = text;
    const by = skinBrush();
    hint.hidden = !by;
    const words = by ? say(`skin.how.${by.paint}`, { name: nameOf(by.person) }) : "";
    if (how.textContent !== words) how.textContent = words;
  };

  const nameOf = (person) => person?.name ?? say("people.unnamed");

  /** Whose skin is painted, and in or out; null where something else is painted, or nothing. */
  const skinBrush = () => {
    const [id, region] = chosen.split("."), person = people.find((one) => one.id === id);
    return paint && region === ALL_SKIN && person ? { person, paint } : null;
  };

  viewer.above.push((context, { x, y, scale }) => {
    if (!chosen || !picture) return;
    context.imageSmoothingEnabled = scale < 1;
    context.drawImage(picture, x, y, portrait.width * scale, portrait.height * scale);
  });

  let editsBefore = "";
  const panel = {
    root, hint,
    changed: () => undefined, // called when another brush is in hand
    /** Buttons that say what is skin of a person and what is not. */
    skinTools: (person) => ["in", "out"].map((which) => {
      const by = skinBrush(), pressed = by?.person.id === person.id && by.paint === which;
      return element("button", { type: "button", "aria-pressed": String(pressed), "data-key": `skin:${which}.${person.id}`,
        onclick: () => {
          take(null);
          if (pressed) return;
          pick(`${person.id}.${ALL_SKIN}`);
          forBrush = true;
          take(which);
        } }, say(`skin.${which}`));
    }),
    /** What of the above is pressed, for whoever draws them. */
    skinBrush: () => { const by = skinBrush(); return by && [by.person.id, by.paint]; },
    async show(found, now) {
      people = found;
      const finished = working && !now;
      working = now;
      draw();
      if (!chosen) return;
      const [person] = chosen.split(".");
      if (!found.some((one) => one.id === person)) return pick("");
      const edits = JSON.stringify(await studio.service.get(`/v1/people/${person}/mask-edits`));
      if (edits !== editsBefore || !picture || finished) {
        editsBefore = edits;
        await load();
      }
    },
    key(event) {
      if (event.key === "Escape" && paint) take(null);
      else if (event.key === " " && paint && event.target.closest(".viewer")) {
        brush.paint([{ x: viewer.view.x, y: viewer.view.y }]);
      } else if (lettersOn() && event.key.toLowerCase() === "f") resize(size - 1);
      else if (lettersOn() && event.key.toLowerCase() === "g") resize(size + 1);
      else if (lettersOn() && event.key.toLowerCase() === "i") take(paint === "in" ? null : "in");
      else if (lettersOn() && event.key.toLowerCase() === "o") take(paint === "out" ? null : "out");
      else return false;
      return true;
    },
  };
  resize(size);
  return panel;
}

/** A mask as black and white stripes, as strong as the mask. */
function hatched(bitmap) {
  const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
  const context = canvas.getContext("2d", { willReadFrequently: true });
  context.drawImage(bitmap, 0, 0);
  const image = context.getImageData(0, 0, bitmap.width, bitmap.height);
  for (let pixel = 0; pixel < bitmap.width * bitmap.height; pixel++) {
    const column = pixel % bitmap.width, row = Math.floor(pixel / bitmap.width);
    const stripe = ((column + row) >> HATCH) & 1 ? 255 : 0;
    const strength = image.data[pixel * 4];
    image.data.fill(stripe, pixel * 4, pixel * 4 + 3);
    image.data[pixel * 4 + 3] = Math.round(strength * 0.42);
  }
  context.putImageData(image, 0, 0);
  return canvas;
}
