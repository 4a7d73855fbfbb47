// All shoots, and making a new one.

import { element, refill } from "../element.js";
import { say, sayDate } from "../words.js";

export async function shootsView(studio) {
  const list = element("ul", { class: "shoots" });
  const name = element("input", { id: "shoot-name", required: true, maxlength: "200", autocomplete: "off" });
  const client = element("input", { id: "shoot-client", maxlength: "200", autocomplete: "off" });
  const make = async (event) => {
    event.preventDefault();
    try {
      const shoot = await studio.service.post("/v1/shoots", { name: name.value, client: client.value });
      studio.go(`/shoot/${shoot.id}`);
    } catch (error) {
      studio.trouble(error.message);
    }
  };
  const root = element("div", { "data-page": "narrow" },
    element("h1", {}, say("shoots.all")), list,
    element("form", { class: "panel", onsubmit: make },
      element("h2", {}, say("shoots.new")),
      element("label", { for: "shoot-name" }, say("shoots.name")), name,
      element("label", { for: "shoot-client" }, say("shoots.client")), client,
      element("button", { class: "main" }, say("shoots.make"))));
  const look = async () => {
    const shoots = await studio.service.get("/v1/shoots");
    refill(list, shoots, () => shoots.length ? shoots.map((shoot) =>
      element("li", {}, element("a", { href: `#/shoot/${shoot.id}`, "data-key": shoot.id },
        element("strong", {}, shoot.name), element("span", {}, shoot.client),
        element("span", {}, say("shoots.portraits", { count: shoot.portraits })),
        element("span", { class: "quiet" }, sayDate(shoot.created_at)))))
      : element("li", { class: "empty" }, say("shoots.none")));
  };
  await look();
  return { root, look, title: say("shoots.all") };
}
