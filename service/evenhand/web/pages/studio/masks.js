// Masks: shown hatched over the picture, corrected with a brush; every stroke can be undone.

import { Brush } from "../brush.js";
import { element, refill } from "../element.js";
import { lettersOn } from "./keys.js";
import { SKIN } from "./parts.js";
import { say } from "../words.js";

const REGIONS = [...SKIN, "eye", "brow", "nostril", "lip", "teeth", "beard", "hair", "jewellery", "cloth"];
const SIDE = 1200; // longer side asked for, pixels
const HATCH = 3; // pixels of a stripe, as a power of two
const SIZES = [4, 6, 9, 13, 19, 28, 42, 63, 94, 140]; // radius of the brush, thousandths of the longer side

const regionsInOrder = (person) =>
  person.regions.map(({ region }) => region).sort((one, other) => REGIONS.indexOf(one) - REGIONS.indexOf(other));

export function masksPanel(studio, viewer, portrait, kept, keep) {
  let people = [], picture = null, asked = 0, working = false, size = Number(kept.brush ?? 5);
  let chosen = kept.mask ?? ""; // person.region
  let paint = null; // in, out or nothing
  const choose = element("select", { id: "mask-region", "data-key": "mask-region", onchange: () => pick(choose.value) });
  const tools = element("div", { role: "radiogroup", "aria-label": say("masks.brush") });
  const note = element("p", { class: "quiet", role: "status" });
  const slider = element("input", { type: "range", id: "brush-size", min: "0", max: String(SIZES.length - 1), value: String(size),
    oninput: () => resize(Number(slider.value)) });
  const root = element("details", { class: "panel", open: Boolean(chosen) },
    element("summary", {}, element("h2", {}, say("masks"))),
    element("label", { for: "mask-region" }, say("masks.which")), choose,
    tools, element("label", { for: "brush-size" }, say("masks.size")), slider,
    element("p", { class: "quiet" }, say("masks.how")), note);

  const brush = new Brush(viewer, () => take(null), async ({ png, left, top }) => {
    const [person, region] = chosen.split(".");
    const data = await new Promise((done) => {
      const reader = new FileReader();
      reader.onload = () => done(reader.result);
      reader.readAsDataURL(png);
    });
    const path = `/v1/people/${person}/mask-edits?region=${encodeURIComponent(region)}&paint=${paint}&left=${left}&top=${top}`;
    await studio.do({ label: say(`masks.painted.${paint}`, { region: say(`region.${region}`) }),
      redo: { method: "POST", path, png: data }, undo: { method: "DELETE", path: "/v1/mask-edits/{made}" } });
    await load();
  });

  const resize = (now) => {
    size = Math.min(SIZES.length - 1, Math.max(0, now));
    slider.value = String(size);
    brush.radius = Math.max(2, SIZES[size] / 1000 * Math.max(portrait.width, portrait.height));
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
      const face = people.flatMap((person) => regionsInOrder(person).map((region) => `${person.id}.${region}`))[0];
      if (!face) return;
      pick(face);
    }
    if (!paint && which) brush.start();
    if (paint && !which) brush.stop();
    paint = which;
    root.open ||= Boolean(which);
    draw();
  };

  const load = async () => {
    if (!chosen) return viewer.redraw();
    const number = ++asked;
    const [person, region] = chosen.split(".");
    try {
      const blob = await studio.service.picture(`/v1/people/${person}/masks/${region}.png?side=${SIDE}`);
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
      people.map((person) => element("optgroup", { label: person.name ?? say("people.unnamed") },
        regionsInOrder(person).map((region) => element("option", { value: `${person.id}.${region}` }, say(`region.${region}`)))))]);
    if (choose.value !== chosen) choose.value = chosen;
    refill(tools, [paint], () => [null, "in", "out"].map((which) =>
      element("button", { type: "button", role: "radio", "aria-checked": String(which === paint), "data-key": `brush:${which}`,
        onclick: () => take(which) }, say(`masks.${which ?? "look"}`))));
    const text = working ? say("masks.working") : "";
    if (note.textContent !== text) note.textContent = text;
  };

  viewer.above.push((context, { x, y, scale }) => {
    if (!chosen || !picture) return;
    context.imageSmoothingEnabled = scale < 1;
    context.drawImage(picture, x, y, portrait.width * scale, portrait.height * scale);
  });

  let editsBefore = "";
  resize(size);
  return {
    root,
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
