// Strength in places: a brush that paints one layer of a person less strong, or stronger again.
// What it does is seen in the picture itself, as it will be in the final.

import { Brush, dataOf, radiusAt, SIZES } from "../brush.js";
import { element } from "../element.js";
import { lettersOn } from "./keys.js";
import { stepWord } from "./parts.js";
import { say } from "../words.js";

const PAINTS = ["less", "more"];

export function strengthBrush(studio, viewer, portrait) {
  let now = null; // the layer in hand, its person's name, and less or more
  let size = 5;
  const opened = new Set(); // people whose brushes are unfolded
  const how = element("span", { role: "status" });
  const slider = element("input", { type: "range", id: "strength-brush-size", min: "0", max: String(SIZES.length - 1),
    oninput: () => resize(Number(slider.value)) });
  const hint = element("div", { class: "hint", hidden: true }, how,
    element("label", { for: slider.id }, say("masks.size")), slider);

  const brush = new Brush(viewer, () => take(null), async ({ png, left, top }) => {
    const { layer, name, paint } = now;
    const path = `/v1/layers/${layer.id}/strokes?paint=${paint}&left=${left}&top=${top}`;
    await studio.do({ label: say(`places.${paint}-of`, { step: stepWord(layer.step), name }),
      redo: { method: "POST", path, png: await dataOf(png) }, undo: { method: "DELETE", path: "/v1/strokes/{made}" } });
  });

  const resize = (to) => {
    size = Math.min(SIZES.length - 1, Math.max(0, to));
    slider.value = String(size);
    brush.radius = radiusAt(size, portrait);
    viewer.redraw();
  };

  /** Take a brush, or put it away. */
  const take = (which) => {
    if (now) brush.stop();
    now = which;
    if (now) brush.start();
    hint.hidden = !now;
    how.textContent = now ? say(`places.how.${now.paint}`, { step: stepWord(now.layer.step), name: now.name }) : "";
    panel.changed();
  };

  const takeAllBack = async (layer) => {
    try {
      for (const { id } of await studio.service.get(`/v1/layers/${layer.id}/strokes`)) await studio.service.remove(`/v1/strokes/${id}`);
      studio.deeds?.forget(layer.id);
    } catch (error) {
      studio.trouble(error.message);
    }
    studio.changed();
  };

  const panel = {
    hint,
    changed: () => undefined, // called when another brush is in hand
    /** What is in hand, for whoever draws the buttons. */
    inHand: () => now && [now.layer.id, now.paint],
    /** Brushes for each layer of a person. */
    of(person, layers) {
      const name = person.name ?? say("people.unnamed");
      const pressed = (layer, paint) => now?.layer.id === layer.id && now.paint === paint;
      const folded = element("details", { class: "by-region", open: opened.has(person.id),
        ontoggle: () => opened[folded.open ? "add" : "delete"](person.id) },
        element("summary", { "data-key": `places:${person.id}` }, say("places")),
        layers.map((layer) => element("div", { class: "row places", role: "group", "aria-label": say("places.of", { step: stepWord(layer.step) }) },
          element("span", {}, stepWord(layer.step)),
          PAINTS.map((paint) => element("button", { type: "button", "aria-pressed": String(pressed(layer, paint)),
            "data-key": `places:${layer.id}.${paint}`,
            onclick: () => take(pressed(layer, paint) ? null : { layer, name, paint }) }, say(`places.${paint}`))),
          layer.painted > 0 && element("button", { type: "button", "data-key": `places:${layer.id}.back`,
            onclick: () => takeAllBack(layer) }, say("places.take-back", { count: layer.painted })))));
      return folded;
    },
    /** Layers as they are now. */
    show(layers) {
      if (now && !layers.some(({ id }) => id === now.layer.id)) take(null);
    },
    key(event) {
      if (!now) return false;
      const letter = lettersOn() && event.key.toLowerCase();
      if (event.key === "Escape") take(null);
      else if (event.key === " " && event.target.closest(".viewer")) brush.paint([{ x: viewer.view.x, y: viewer.view.y }]);
      else if (letter === "f") resize(size - 1);
      else if (letter === "g") resize(size + 1);
      else return false;
      return true;
    },
  };
  resize(size);
  return panel;
}
