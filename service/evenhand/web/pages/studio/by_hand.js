// Somebody who was not found: named here, then their skin is stroked, then they are asked.

import { element } from "../element.js";
import { say } from "../words.js";
import { ask } from "./parts.js";

export function byHand(studio, portrait) {
  const name = element("input", { id: "by-hand", maxlength: "200", list: "names", autocomplete: "off", required: true });
  const form = element("form", { class: "naming", onsubmit: async (event) => {
    event.preventDefault();
    const who = name.value.trim();
    if (!who) return;
    try {
      await studio.service.post(`/v1/portraits/${portrait.id}/people`, { name: who });
    } catch (error) {
      return studio.trouble(error.message);
    }
    name.value = "";
    root.open = false;
    studio.news(say("by-hand.added", { name: who }));
    studio.changed();
  } },
    element("label", { for: "by-hand" }, say("by-hand.name")), name,
    element("button", {}, say("by-hand.add")));
  const root = element("details", { class: "panel" },
    element("summary", { "data-key": "by-hand" }, say("by-hand")),
    element("p", { class: "quiet" }, say("by-hand.how")), form);
  let shown = false;
  return {
    root,
    /** Unfolded at first where nobody was found. */
    show(found) {
      if (!shown) root.open = !found.length;
      shown = true;
    },
  };
}

/** Takes away somebody who was added by hand, and what was painted for them. */
export const removeButton = (studio, person) =>
  element("button", { type: "button", "data-key": `remove:${person.id}`, onclick: async () => {
    if (!(await ask(say("by-hand.sure", { name: person.name ?? say("people.unnamed") }), say("by-hand.remove")))) return;
    try {
      await studio.service.remove(`/v1/people/${person.id}`);
      studio.deeds?.forget(person.id);
    } catch (error) {
      studio.trouble(error.message);
    }
    studio.changed();
  } }, say("by-hand.remove"));
