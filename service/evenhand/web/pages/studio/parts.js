// Parts that several of the photographer's views share.

import { element, icon } from "../element.js";
import { inOrder } from "../steps.js";
import { say, sayOr } from "../words.js";

export { inOrder };

/** Regions of skin, from the face down. */
export const SKIN = ["face-skin", "neck", "ear", "arm", "hand", "torso", "leg"];

/** A state in words, with an icon that differs in shape. */
export const stateSign = (state) =>
  element("span", { class: "state", data: { state } }, icon(state === "valid" ? "signed" : state.replaceAll(" ", "-")), say(`state.${state}`));

export const stepWord = (step) => sayOr(`step.${step}`, step);

/** The way from all shoots to where we are. */
export function crumbs(shoot, here, more = []) {
  const links = [["#/", say("shoots.all")], [`#/shoot/${shoot.id}`, shoot.name], ...more];
  return element("ol", {},
    links.map(([href, text]) => element("li", {}, element("a", { href }, text))),
    here && element("li", { "aria-current": "page" }, here));
}

/** The views of a shoot. */
export function tabs(shoot, here) {
  const views = { sheet: "", people: "/people", proofs: "/proofs", tones: "/tones" };
  return element("nav", { class: "tabs", "aria-label": say("tabs") },
    Object.entries(views).map(([view, path]) =>
      element("a", { href: `#/shoot/${shoot.id}${path}`, "aria-current": view === here ? "page" : null }, say(`tabs.${view}`))));
}

/** Region of the upright photograph around a face, in the words of IIIF, with some room. */
export function faceRegion(face, portrait, room = 0.25) {
  const side = Math.max(face.right - face.left, face.bottom - face.top) * (1 + 2 * room);
  const left = Math.max(0, Math.round((face.left + face.right - side) / 2));
  const top = Math.max(0, Math.round((face.top + face.bottom - side) / 2));
  const width = Math.min(portrait.width - left, Math.round(side));
  const height = Math.min(portrait.height - top, Math.round(side));
  return `${left},${top},${width},${height}`;
}

/** Pictures from the service, by path; each is asked for once and shown again from memory. */
export class Pictures {
  constructor(service) {
    this.service = service;
    this.kept = new Map();
  }

  /** Fill an img; `key` changes when the picture does. */
  async into(image, path, key = path) {
    if (image.dataset.shows === key) return;
    image.dataset.shows = key;
    try {
      if (!this.kept.has(key)) {
        this.kept.set(key, this.service.picture(path).then((blob) => URL.createObjectURL(blob)));
      }
      const address = await this.kept.get(key);
      if (image.dataset.shows === key) image.src = address;
    } catch {
      this.kept.delete(key);
      if (image.dataset.shows === key) delete image.dataset.shows;
    }
  }

  stop() {
    for (const address of this.kept.values()) address.then(URL.revokeObjectURL, () => undefined);
  }
}

/** A question with yes and no. */
export function ask(text, yes) {
  return new Promise((answer) => {
    const dialog = element("dialog", { "aria-labelledby": "question",
      onclose: () => { answer(dialog.returnValue === "yes"); dialog.remove(); } },
      element("p", { id: "question" }, text),
      element("form", { method: "dialog", class: "row" },
        element("button", { value: "no" }, say("no")), element("button", { value: "yes", class: "main" }, yes)));
    document.body.append(dialog);
    dialog.showModal();
  });
}

/** Copy what a field holds; gives what is to be told: that it was copied, or how to. */
export async function copied(field) {
  field.focus();
  field.select();
  try {
    await navigator.clipboard.writeText(field.value);
    return say("proof.copied");
  } catch {
    return say(document.execCommand("copy") ? "proof.copied" : "proof.copy-yourself");
  }
}
