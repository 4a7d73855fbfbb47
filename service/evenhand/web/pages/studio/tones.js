// The same person side by side across the shoot, to see that tones agree.

import { element, fill, refill } from "../element.js";
import { say } from "../words.js";
import { crumbs, faceRegion, tabs } from "./parts.js";

const SIDE = 360; // pixels of a face
const MIDDLE = 0.5; // part of the face box, around its middle, whose mean colour is shown beneath

export async function tonesView(studio, [, id], kept) {
  const shoot = await studio.service.get(`/v1/shoots/${id}`);
  const choose = element("select", { id: "tone-name", onchange: () => { studio.keep({ ...state(), name: choose.value }); look(true); } });
  const which = element("input", { type: "checkbox", id: "tone-before", checked: kept.which === "original",
    onchange: () => { studio.keep(state()); look(true); } });
  const row = element("div", { class: "tones" });
  const state = () => ({ name: choose.value, ...(which.checked ? { which: "original" } : {}) });
  const root = element("div", { "data-page": "wide" },
    element("h1", {}, shoot.name), tabs(shoot, "tones"),
    element("div", { class: "row" }, element("label", { for: "tone-name" }, say("tones.who")), choose,
      element("label", { class: "line" }, which, element("span", {}, say("tones.before")))),
    element("p", { class: "quiet" }, say("tones.strip")), row);
  let wanted = kept.name;

  const look = async () => {
    const [found, portraits] = await Promise.all([
      studio.service.get(`/v1/shoots/${id}/people`), studio.service.get(`/v1/shoots/${id}/portraits`)]);
    const names = [...new Set(found.map(({ person }) => person.name).filter(Boolean))].sort();
    const often = names.find((name) => found.filter(({ person }) => person.name === name).length > 1);
    wanted = names.includes(choose.value) ? choose.value : names.includes(wanted) ? wanted : often ?? names[0];
    refill(choose, names, () => names.map((name) => element("option", { value: name, selected: name === wanted }, name)));
    const layers = await Promise.all(found.filter(({ person }) => person.name === wanted && person.face)
      .map(async (one) => ({ ...one, layers: await studio.service.get(`/v1/portraits/${one.portrait}/layers`) })));
    refill(row, [wanted, which.checked, layers], () => layers.length
      ? layers.map((one) => face(one, portraits.find((portrait) => portrait.id === one.portrait)))
      : element("p", { class: "empty" }, say("tones.none")));
  };

  const face = ({ person }, portrait) => {
    const canvas = element("canvas", { width: SIDE, height: SIDE, role: "img",
      "aria-label": say("people.in", { name: portrait.name }) });
    const strip = element("span", { class: "strip" });
    const region = faceRegion(person.face, portrait, 0.1);
    const path = `/v1/portraits/${portrait.id}/iiif/${which.checked ? "original" : "retouched"}/${region}/!${SIDE},${SIDE}/0/default.jpg`;
    studio.service.picture(path).then(createImageBitmap).then((bitmap) => {
      const context = canvas.getContext("2d", { willReadFrequently: true });
      context.drawImage(bitmap, 0, 0, SIDE, SIDE);
      strip.style.background = `rgb(${meanOf(context).join(" ")})`;
    }).catch((error) => studio.trouble(error.message));
    return element("figure", {}, canvas, strip,
      element("figcaption", {}, element("a", { href: `#/portrait/${portrait.id}` }, portrait.name)));
  };

  await look();
  return { root, look, title: `${say("tabs.tones")} · ${shoot.name}`, crumbs: crumbs(shoot, say("tabs.tones")) };
}

/** Mean colour of the middle of a face. */
function meanOf(context) {
  const edge = Math.round(SIDE * (1 - MIDDLE) / 2), size = SIDE - 2 * edge;
  const { data } = context.getImageData(edge, edge, size, size);
  const sums = [0, 0, 0];
  for (let i = 0; i < data.length; i += 4) for (let k = 0; k < 3; k++) sums[k] += data[i + k];
  return sums.map((sum) => Math.round(sum / (data.length / 4)));
}
