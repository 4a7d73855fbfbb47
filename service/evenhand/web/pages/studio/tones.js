// One person's skin over the shoot: their portraits before and after the match to one of them.

import { element, refill } from "../element.js";
import { say, sayNumber } from "../words.js";
import { crumbs, faceRegion, stepWord, tabs } from "./parts.js";
import { tonePlot, toneOf } from "./tone_plot.js";

const SIDE = 240; // pixels of a face
const MIDDLE = 0.5; // part of the face box, around its middle, whose mean colour is shown beneath
const TONE = "tone";

export async function tonesView(studio, [, id], kept) {
  const shoot = await studio.service.get(`/v1/shoots/${id}`);
  const choose = element("select", { id: "tone-name", onchange: () => { studio.keep({ name: choose.value }); left.clear(); look(); } });
  const like = element("select", { id: "tone-reference" });
  const measure = element("button", { type: "button", onclick: () => doing(measured) }, say("tones.measure"));
  const apply = element("button", { type: "button", class: "main", onclick: () => doing(() => give(chosen(), 1)) }, say("tones.apply"));
  const asking = element("div", { class: "row matching" },
    element("label", { for: "tone-reference" }, say("tones.match-to")), like, measure, apply);
  const told = element("div"), row = element("div", { class: "tones" });
  const root = element("div", { "data-page": "wide" },
    element("h1", {}, shoot.name), tabs(shoot, "tones"),
    element("div", { class: "row" }, element("label", { for: "tone-name" }, say("tones.who")), choose),
    asking, told, row);
  const left = new Set(); // portraits that the match is not to be applied to
  let wanted = kept.name, shown = [];

  const look = async () => {
    const [found, portraits] = await Promise.all([
      studio.service.get(`/v1/shoots/${id}/people`), studio.service.get(`/v1/shoots/${id}/portraits`)]);
    const names = [...new Set(found.map(({ person }) => person.name).filter(Boolean))].sort();
    const often = names.find((name) => found.filter(({ person }) => person.name === name).length > 1);
    wanted = names.includes(choose.value) ? choose.value : names.includes(wanted) ? wanted : often ?? names[0];
    refill(choose, names, () => names.map((name) => element("option", { value: name, selected: name === wanted }, name)));
    const theirs = await Promise.all(found.filter(({ person }) => person.name === wanted && person.face)
      .map(async ({ person, portrait }) => ({
        person, portrait: portraits.find((one) => one.id === portrait),
        others: found.some((one) => one.portrait === portrait && one.person.id !== person.id),
        layers: (await studio.service.get(`/v1/portraits/${portrait}/layers`)).filter((layer) => layer.person === person.id),
      })));
    shown = theirs.map((one) => ({ ...one, layer: one.layers.find(({ step }) => step === TONE) }));
    draw();
  };

  const draw = () => {
    const agreed = shown.some(({ person }) => person.agreed.includes(TONE));
    const reference = shown.map(({ person }) => person.settings[TONE]?.reference).find(Boolean);
    const liked = shown.find(({ portrait }) => portrait.id === reference);
    const measures = shown.filter(({ layer }) => layer);
    asking.hidden = !agreed || shown.length < 2;
    apply.hidden = measures.length === 0;
    apply.disabled = chosen().length === 0;
    refill(like, [reference, shown.map(({ portrait }) => [portrait.id, portrait.name])], () => shown.map(({ portrait }) =>
      element("option", { value: portrait.id, selected: portrait.id === reference }, portrait.name)));
    refill(told, [wanted, agreed, liked?.portrait.name, measures.length], () => [
      shown.length > 0 && !agreed && element("p", { class: "quiet" }, say("tones.not-agreed", { name: wanted, step: stepWord(TONE) }), " ",
        element("a", { href: `#/shoot/${id}/people` }, say("tones.ask"))),
      element("p", { class: "quiet" }, say("tones.strip"), " ",
        measures.length > 0 && liked ? say("tones.plot", { name: liked.portrait.name }) : null)]);
    refill(row, [wanted, reference, shown], () => shown.length
      ? shown.map((one) => card(one, reference, measures.map(({ layer }) => layer.facts)))
      : element("p", { class: "empty" }, say("tones.none")));
  };

  const chosen = () => shown.filter(({ layer, portrait }) => layer && !portrait.locked && !left.has(portrait.id));

  const measured = () => studio.service.put(`/v1/shoots/${id}/tone`, { name: wanted, reference: like.value });

  const give = async (those, strength) => {
    const given = await studio.service.post(`/v1/shoots/${id}/strengths`,
      { portraits: those.map(({ portrait }) => portrait.id), name: wanted, strengths: { [TONE]: strength } });
    if (strength) studio.news(say("tones.given", { count: given.portraits.length }));
  };

  const doing = async (deed) => {
    try {
      await deed();
      studio.changed();
    } catch (error) {
      studio.trouble(error.message);
    }
  };

  const card = (one, reference, measures) => {
    const { portrait, layer } = one, name = portrait.name;
    const link = element("a", { href: `#/portrait/${portrait.id}` }, name);
    if (!layer) {
      return element("figure", {}, element("div", { class: "pair-of-faces" }, face(one, say("tones.before-of", { name }))),
        element("figcaption", {}, link, element("p", { class: "quiet" }, whyNone(one, reference))));
    }
    const facts = layer.facts, now = toneOf(facts.lab), after = toneOf(facts.lab_matched), goal = toneOf(facts.reference_lab);
    const pick = element("input", { type: "checkbox", checked: !left.has(portrait.id), disabled: portrait.locked, "data-key": portrait.id,
      "aria-label": say("tones.choose", { name }),
      onchange: () => { left[pick.checked ? "delete" : "add"](portrait.id); apply.disabled = chosen().length === 0; } });
    const number = (value) => sayNumber(value);
    return element("figure", {},
      element("div", { class: "pair-of-faces" },
        face(one, say("tones.before-of", { name }), 0, say("tones.before")), face(one, say("tones.after-of", { name }), 1, say("tones.after"))),
      element("figcaption", {},
        element("div", { class: "row" }, pick, link,
          layer.strength > 0 && element("strong", {}, say("tones.applied")),
          layer.strength > 0 && !portrait.locked && element("button", { type: "button", "data-key": `off-${portrait.id}`,
            "aria-label": say("tones.take-off-of", { name }), onclick: () => doing(() => give([one], 0)) }, say("tones.take-off"))),
        element("div", { class: "measure" },
          tonePlot(facts, measures, say("tones.measured", { name,
            lightness: number(now.lightness), lightness_after: number(after.lightness), lightness_wanted: number(goal.lightness),
            hue: number(now.hue), hue_after: number(after.hue), hue_wanted: number(goal.hue) })),
          element("p", {}, say("tones.lightness", { now: number(now.lightness), after: number(after.lightness), wanted: number(goal.lightness) }),
            element("br"), say("tones.hue", { now: number(now.hue), after: number(after.hue), wanted: number(goal.hue) })))));
  };

  const whyNone = ({ portrait, others, person }, reference) => {
    if (!reference) return "";
    if (portrait.id === reference) return say("tones.reference");
    if (others) return say("tones.others");
    return say(portrait.state === "working" && person.settings[TONE] ? "tones.waiting" : "tones.too-little");
  };

  /** A face with its mean colour beneath; with the match at a strength where one is given. */
  const face = ({ person, portrait }, label, strength, word) => {
    const canvas = element("canvas", { width: SIDE, height: SIDE, role: "img", "aria-label": label });
    const strip = element("span", { class: "strip" });
    const at = strength === undefined ? "" : `?strengths=${person.id}.${TONE}:${strength}`;
    const region = faceRegion(person.face, portrait, 0.1);
    studio.service.picture(`/v1/portraits/${portrait.id}/iiif/retouched/${region}/!${SIDE},${SIDE}/0/default.jpg${at}`)
      .then(createImageBitmap).then((bitmap) => {
        const context = canvas.getContext("2d", { willReadFrequently: true });
        context.drawImage(bitmap, 0, 0, SIDE, SIDE);
        strip.style.background = `rgb(${meanOf(context).join(" ")})`;
      }).catch((error) => studio.trouble(error.message));
    return element("div", {}, canvas, strip, word && element("span", { class: "quiet", "aria-hidden": "true" }, word));
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
