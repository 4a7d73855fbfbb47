// Making a proof: which strengths are offered, how long the link opens, and the link, told once.

import { element, fill } from "../element.js";
import { say, sayDate, sayPercent } from "../words.js";

const OFFERS = { three: [0, 0.5, 1], four: [0, 0.5, 0.75, 1] };

export function proofDialog(studio, shoot, portraits) {
  const trouble = element("p", { class: "wrong", role: "alert" });
  const message = element("textarea", { id: "proof-message", maxlength: "4000", rows: "3" });
  const days = element("input", { id: "proof-days", type: "number", min: "1", max: "365", value: "14", required: true });
  const offer = element("select", { id: "proof-offer" }, Object.entries(OFFERS).reverse().map(([name, strengths]) =>
    element("option", { value: name }, strengths.map(sayPercent).join(" · "))));
  const make = async (event) => {
    event.preventDefault();
    try {
      const made = await studio.service.post(`/v1/shoots/${shoot.id}/proofs`, {
        portraits: portraits.map((portrait) => portrait.id), strengths: OFFERS[offer.value],
        lasts_days: Number(days.value), message: message.value });
      studio.changed();
      show(made);
    } catch (error) {
      trouble.textContent = error.message;
    }
  };
  const show = (made) => {
    const link = element("input", { id: "proof-link", readonly: true, value: `${location.origin}${made.link.path}` });
    fill(dialog, element("h2", { id: "proof-title" }, say("proof.made")),
      element("p", {}, say("proof.once")),
      element("label", { for: "proof-link" }, say("proof.link")), link,
      element("p", { class: "quiet" }, say("proof.until", { date: sayDate(made.link.expires_at) })),
      element("div", { class: "row" },
        element("button", { type: "button", class: "main", onclick: async () => {
          link.select();
          await navigator.clipboard?.writeText(link.value).catch(() => document.execCommand("copy"));
          studio.news(say("proof.copied"));
        } }, say("proof.copy")),
        element("button", { type: "button", onclick: () => dialog.close() }, say("close"))));
    link.focus();
    link.select();
  };
  const dialog = element("dialog", { "aria-labelledby": "proof-title", onclose: () => dialog.remove() },
    element("form", { onsubmit: make },
      element("h2", { id: "proof-title" }, say("proof.new")),
      element("p", {}, say("proof.of", { count: portraits.length, names: portraits.map((p) => p.name).join(", ") })),
      element("label", { for: "proof-offer" }, say("proof.strengths")), offer,
      element("label", { for: "proof-days" }, say("proof.days")), days,
      element("label", { for: "proof-message" }, say("proof.message")), message,
      element("p", { class: "quiet" }, say("proof.shows")), trouble,
      element("div", { class: "row" },
        element("button", { class: "main" }, say("proof.make")),
        element("button", { type: "button", onclick: () => dialog.close() }, say("close")))));
  document.body.append(dialog);
  dialog.showModal();
}
