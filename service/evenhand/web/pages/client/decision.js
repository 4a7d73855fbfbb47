// Approving a picture, and asking for a change of it; both with the picture in view.

import { element, fill, icon } from "../element.js";
import { say } from "../words.js";
import { applied, sayApplied, standingOf } from "./told.js";

const NAME = "evenhand.signed-by"; // whoever signed last in this browser

function nameField() {
  const field = element("input", { id: "client-name", required: true, maxlength: "200", autocomplete: "name", "data-key": "name",
    value: localStorage.getItem(NAME) ?? "", oninput: () => localStorage.setItem(NAME, field.value) });
  return field;
}

function backButton(page, from) {
  return element("button", { type: "button", "data-key": "away", onclick: () => page.turn({ name: "choose", from }) }, say("client.not-yet"));
}

/** Send a form once; it can be sent again when that did not succeed. */
const sending = (send) => async (event) => {
  event.preventDefault();
  const button = event.target.querySelector("button.main");
  button.disabled = true;
  await send();
  button.disabled = false;
};

export function approveForm(page, portrait) {
  const name = nameField(), choices = page.choices();
  name.dataset.first = "";
  return element("form", { onsubmit: sending(() => page.decideOn(portrait, "sign-off", { signed_by: name.value })) },
    element("h2", {}, say("client.approve-title")),
    element("p", {}, choices.length ? say("client.approve-what", { strengths: sayApplied(applied(portrait, choices)) }) : say("client.nothing-changed")),
    element("label", { for: "client-name" }, say("client.name")), name,
    element("p", { class: "quiet" }, say("client.sign-means")),
    element("div", { class: "pair" }, element("button", { class: "main", "data-key": "send" }, icon("check"), say("client.approve-send")),
      backButton(page, "approve")));
}

export function askForm(page, portrait) {
  const kept = page.kept(portrait), name = nameField();
  const words = element("textarea", { id: "client-words", required: true, maxlength: "4000", rows: "3", "data-key": "words", "data-first": "",
    value: kept.words, oninput: () => page.keep({ words: words.value }, portrait) });
  const pointed = element("div", { class: "row pointed", role: "status" });
  const form = element("form", { onsubmit: sending(() => page.decideOn(portrait, "changes",
    { asked_by: name.value, words: words.value, places: page.kept(portrait).places })) },
    element("h2", {}, say("client.ask-title")),
    standingOf(portrait) === "approved" && element("p", { class: "line" }, icon("warning"), element("span", {}, say("client.ask-unsigns"))),
    element("label", { for: "client-words" }, say("client.ask-words")), words, pointed,
    element("label", { for: "client-name" }, say("client.name")), name,
    element("div", { class: "pair" }, element("button", { class: "main", "data-key": "send" }, icon("letter"), say("client.ask-send")),
      backButton(page, "ask")));
  form.pointed = (places) => fill(pointed,
    element("span", { class: "quiet" }, places.length ? say("client.pointed", { count: places.length }) : say("client.point")),
    places.length > 0 && element("button", { type: "button", class: "quiet", "data-key": "unpoint", onclick: () => {
      page.keep({ places: [] }, portrait);
      form.pointed([]);
      page.draw();
    } }, say("client.unpoint")),
    element("button", { type: "button", class: "quiet", "data-key": "point", onclick: () => page.point(page.stage.middle) }, say("client.point-middle")));
  form.pointed(kept.places);
  return form;
}
