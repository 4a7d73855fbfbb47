// The portrait taken before a burn: the photographer names another portrait of the shoot in which
// they gave the same name. Nobody is recognised.

import { element } from "../element.js";
import { say } from "../words.js";
import { faceRegion, SKIN } from "./parts.js";

const SIDE = 320; // longer side of a picture asked for, pixels

/**
 * The same named person in the other portraits of the shoot.
 *
 * @returns {{portrait, person, shares: boolean}[]}  shares: whether it shows any of the skin that
 *   the open portrait shows
 */
export function othersOf(person, portrait, everybody, portraits) {
  if (person.name === null) return [];
  const skin = ({ regions }) => SKIN.filter((one) => regions.some(({ region }) => region === one));
  const mine = skin(person);
  return everybody.filter((one) => one.portrait !== portrait.id && one.person.name === person.name)
    .map((one) => ({ portrait: portraits.find(({ id }) => id === one.portrait), person: one.person,
      shares: skin(one.person).some((region) => mine.includes(region)) }))
    .filter((one) => one.portrait?.width);
}

/** The person in a portrait: their face, or the whole portrait where none is seen. */
function picture(pictures, { portrait, person }, alt) {
  const image = element("img", { alt, width: 144, height: 144 });
  pictures.into(image, person.face
    ? `/v1/portraits/${portrait.id}/iiif/original/${faceRegion(person.face, portrait)}/!${SIDE},${SIDE}/0/default.jpg`
    : `/v1/portraits/${portrait.id}/iiif/original/full/!${SIDE},${SIDE}/0/default.jpg`);
  return image;
}

/**
 * What is said about the portrait before the burn, beneath a person's redness.
 *
 * @param {object} said  person, others (from `othersOf`), chosen (id of a portrait or undefined)
 * @param {(id: string | null) => void} choose
 */
export function earlierLine(pictures, { person, others, chosen }, choose) {
  if (!chosen && !others.length) return null;
  const one = others.find(({ portrait }) => portrait.id === chosen);
  const open = () => dialog(pictures, person, others, chosen, choose);
  const button = (key, text, onclick) => element("button", { type: "button", "data-key": `${key}:${person.id}`, onclick }, text);
  if (!chosen) return element("p", { class: "agreed" }, button("earlier", say("earlier.choose"), open));
  return element("div", { class: "earlier" },
    one && picture(pictures, one, ""),
    element("p", {}, one ? say("earlier.chosen", { portrait: one.portrait.name }) : say("earlier.gone", { name: person.name ?? say("people.unnamed") })),
    element("div", { class: "row" },
      others.length > 0 && button("earlier", say("earlier.another"), open),
      button("earlier-off", say("earlier.take-off"), () => choose(null))));
}

function dialog(pictures, person, others, chosen, choose) {
  const root = element("dialog", { "aria-labelledby": "earlier-title", onclose: () => root.remove() },
    element("h2", { id: "earlier-title" }, say("earlier.title", { name: person.name })),
    element("p", { class: "quiet" }, say("earlier.how")),
    element("ul", { class: "earlier-list" }, others.map((one) => element("li", {},
      element("button", { type: "button", "aria-pressed": String(one.portrait.id === chosen), disabled: !one.shares,
        onclick: () => { root.close(); choose(one.portrait.id); } },
        picture(pictures, one, ""), element("span", {}, one.portrait.name),
        !one.shares && element("span", { class: "quiet" }, say("earlier.other-skin")))))),
    element("div", { class: "row" }, element("button", { type: "button", onclick: () => root.close() }, say("close"))));
  document.body.append(root);
  root.showModal();
}
