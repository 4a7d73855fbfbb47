// Strengths for many at once: for the chosen portraits, or for one person wherever they are; with
// the studio's own presets.

import { element, fill } from "../element.js";
import { shareSlider } from "../slider.js";
import { say, sayPercent } from "../words.js";
import { inOrder, stepWord } from "./parts.js";

/**
 * @param {object} whom  portraits, or name of a person; strengths to begin with, by step
 */
export async function strengthsDialog(studio, shoot, { portraits = [], name = null, strengths = {} }) {
  const [known, presets] = await Promise.all([studio.service.get("/v1/steps"), studio.service.get("/v1/presets")]);
  const steps = inOrder(known.map((one) => one.step));
  const first = Object.fromEntries(known.map((one) => [one.step, one.settings.properties.strength?.default ?? 1]));
  const wanted = new Map(Object.entries(strengths));
  const trouble = element("p", { class: "wrong", role: "alert" });
  const sliders = element("div");
  const own = element("div", { class: "row presets" });
  const keepAs = element("input", { id: "preset-name", maxlength: "200", autocomplete: "off" });

  const drawSliders = () => fill(sliders, steps.map((step) => {
    const on = wanted.has(step);
    const box = element("input", { type: "checkbox", checked: on, onchange: () => {
      if (box.checked) wanted.set(step, first[step]);
      else wanted.delete(step);
      drawSliders();
    } });
    return element("div", { class: "given" },
      element("label", { class: "line" }, box, element("span", {}, on ? say("strengths.give", { step: stepWord(step) }) : say("strengths.leave", { step: stepWord(step) }))),
      on && shareSlider({ id: `give-${step}`, label: stepWord(step), value: wanted.get(step), key: `give:${step}`,
        moved: (share) => wanted.set(step, share), chosen: (share) => wanted.set(step, share) }));
  }));
  const drawPresets = () => fill(own, presets.length ? presets.map((preset) => element("span", { class: "preset" },
    element("button", { type: "button", title: Object.entries(preset.strengths).map(([step, share]) => `${stepWord(step)} ${sayPercent(share)}`).join(", "),
      onclick: () => {
        wanted.clear();
        for (const [step, share] of Object.entries(preset.strengths)) wanted.set(step, share);
        drawSliders();
      } }, preset.name),
    element("button", { type: "button", class: "bare", "aria-label": say("strengths.forget", { name: preset.name }), onclick: async () => {
      await studio.service.remove(`/v1/presets/${preset.id}`).catch((error) => (trouble.textContent = error.message));
      presets.splice(presets.indexOf(preset), 1);
      drawPresets();
    } }, "×"))) : element("span", { class: "quiet" }, say("strengths.no-presets")));

  const keep = async () => {
    if (!keepAs.value.trim() || !wanted.size) return void (trouble.textContent = say("strengths.name-first"));
    try {
      const made = await studio.service.post("/v1/presets", { name: keepAs.value.trim(), strengths: Object.fromEntries(wanted) });
      presets.splice(0, presets.length, ...presets.filter((one) => one.id !== made.id), made);
      keepAs.value = "";
      trouble.textContent = "";
      drawPresets();
    } catch (error) {
      trouble.textContent = error.message;
    }
  };
  const give = async (event) => {
    event.preventDefault();
    if (!wanted.size) return void (trouble.textContent = say("strengths.none"));
    try {
      const given = await studio.service.post(`/v1/shoots/${shoot.id}/strengths`,
        { portraits: portraits.map((one) => one.id), name, strengths: Object.fromEntries(wanted) });
      dialog.close();
      studio.news(say("strengths.given", { count: given.portraits.length }));
      studio.changed();
    } catch (error) {
      trouble.textContent = error.message;
    }
  };
  const dialog = element("dialog", { "aria-labelledby": "strengths-title", onclose: () => dialog.remove() },
    element("form", { onsubmit: give },
      element("h2", { id: "strengths-title" }, name ? say("strengths.for-person", { name }) : say("strengths.for", { count: portraits.length })),
      element("p", { class: "quiet" }, say("strengths.how")),
      element("h3", {}, say("strengths.presets")), own, sliders,
      element("div", { class: "row keep-as" }, element("label", { for: "preset-name" }, say("strengths.keep-as")), keepAs,
        element("button", { type: "button", onclick: keep }, say("strengths.keep"))), trouble,
      element("div", { class: "row" }, element("button", { class: "main" }, say("strengths.do")),
        element("button", { type: "button", onclick: () => dialog.close() }, say("close")))));
  drawSliders();
  drawPresets();
  document.body.append(dialog);
  dialog.showModal();
}
