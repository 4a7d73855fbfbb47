// Changes that the client asks for: seen, answered and sent again, round by round.

import { element, icon, refill } from "../element.js";
import { say, sayDate } from "../words.js";
import { Pictures } from "./parts.js";

/**
 * The changes of a shoot, or of one portrait; those that wait for an answer first.
 * A card that is being written in is never drawn anew.
 *
 * @param {object} studio
 * @param {string} shoot
 * @param {string|null} portrait  only those of this one
 */
export function changesPanel(studio, shoot, portrait = null) {
  const pictures = new Pictures(studio.service);
  const open = element("ul", { class: "asked-changes" });
  const before = element("details", { class: "panel asked-before" });
  const root = element("section", { class: "changes", "aria-label": say("changes"), hidden: true }, element("h2", {}, say("changes")), open, before);
  const cards = new Map();

  const show = (changes, portraits) => {
    const mine = changes.filter((change) => !portrait || change.portrait_id === portrait);
    const waiting = mine.filter((change) => change.standing === "asked");
    root.hidden = mine.length === 0;
    for (const change of waiting) if (!cards.has(change.id)) cards.set(change.id, card(change));
    for (const id of cards.keys()) if (!waiting.some((change) => change.id === id)) cards.delete(id);
    const wanted = waiting.map((change) => cards.get(change.id).root);
    if (wanted.some((one, k) => open.children[k] !== one) || open.children.length !== wanted.length) open.replaceChildren(...wanted);
    for (const change of waiting) cards.get(change.id).show(portraits.find((one) => one.id === change.portrait_id));
    const rest = mine.filter((change) => change.standing !== "asked");
    before.hidden = rest.length === 0;
    refill(before, [rest, portraits.map((one) => one.name)], () => [
      element("summary", {}, icon("down"), say("changes.before", { count: rest.length })),
      element("ol", {}, rest.map((change) => element("li", {}, head(change, portraits.find((one) => one.id === change.portrait_id)),
        element("q", {}, change.words), change.answer && element("p", {}, say("changes.your-answer"), element("q", {}, change.answer)))))]);
  };

  const head = (change, of) => element("p", { class: "quiet" },
    of && !portrait && [element("a", { href: `#/portrait/${change.portrait_id}` }, of.name), " · "],
    say("changes.round", { round: change.round }), " · ", say("changes.by", { name: change.asked_by, date: sayDate(change.asked_at) }),
    change.standing !== "asked" && ` · ${say(`changes.standing.${change.standing}`)}`);

  const card = (change) => {
    const top = element("div");
    const image = element("img", { alt: say("changes.picture"), loading: "lazy" });
    const pins = element("div", { class: "pins", "aria-hidden": "true" });
    const words = element("textarea", { id: `answer-${change.id}`, rows: "2", maxlength: "4000", "data-key": `answer:${change.id}` });
    const send = element("button", { class: "main", "data-key": `send:${change.id}` }, icon("letter"), say("changes.send"));
    const wait = element("p", { class: "quiet", role: "status" });
    const form = element("form", { onsubmit: async (event) => {
      event.preventDefault();
      send.disabled = true;
      try {
        await studio.service.post(`/v1/changes/${change.id}/answer`, { words: words.value });
        studio.news(say("changes.sent"));
      } catch (error) {
        studio.trouble(error.message);
      }
      send.disabled = false;
      studio.changed();
    } }, element("label", { for: words.id }, say("changes.answer")), words, wait, send);
    const root = element("li", { class: "panel asked-change" },
      change.image_sha256 && element("div", { class: "seen" }, image, pins),
      element("div", { class: "what-asked" }, top, element("q", {}, change.words),
        change.places.length > 0 && element("ul", { class: "places-asked" }, change.places.map((place, k) => element("li", {},
          element("a", { href: `#/portrait/${change.portrait_id}?zoom=1&x=${place.column}&y=${place.row}` }, say("changes.place", { number: k + 1 })),
          place.wish && `: ${say(`wish.${place.wish}`)}`))), form));
    if (change.image_sha256) pictures.into(image, `/v1/changes/${change.id}/picture`);
    return {
      root,
      show: (of) => {
        refill(top, [of?.name], () => head(change, of));
        const text = of?.state === "working" ? say("changes.working") : "";
        if (wait.textContent !== text) wait.textContent = text;
        refill(pins, [of?.width, of?.height], () => !of?.width ? [] : change.places.map((place, k) =>
          element("span", { class: "pin", data: { row: place.row / of.height, column: place.column / of.width } }, String(k + 1))));
        for (const pin of pins.children) {
          pin.style.left = `${100 * pin.dataset.column}%`;
          pin.style.top = `${100 * pin.dataset.row}%`;
        }
      },
    };
  };

  const look = async (portraits) => show(await studio.service.get(`/v1/shoots/${shoot}/changes`), portraits);
  return { root, look, stop: () => pictures.stop() };
}
