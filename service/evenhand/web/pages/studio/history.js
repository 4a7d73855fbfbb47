// What happened to a portrait, the newest first, from the shoot's record.

import { element, refill } from "../element.js";
import { say, sayDate, sayOr } from "../words.js";

export function historyPanel(studio, portrait) {
  const list = element("ol", { class: "said" });
  const look = async () => {
    if (!root.open) return;
    const entries = await studio.service.get(`/v1/portraits/${portrait.id}/history`);
    refill(list, entries.map((one) => one.number), () => entries.map((one) => element("li", {},
      element("span", {}, sayOr(`history.${one.action}`, one.action)), " ", element("span", { class: "quiet" }, sayDate(one.at)))));
  };
  const root = element("details", { class: "panel", ontoggle: () => look().catch((error) => studio.trouble(error.message)) },
    element("summary", {}, element("h2", {}, say("history"))), list);
  return { root, look };
}
