// The list of keys, and the switch that turns single letters off (WCAG 2.2, 2.1.4).

import { element } from "../element.js";
import { say, sayOr } from "../words.js";

const OFF = "evenhand.letters-off";

const KEYS = {
  everywhere: [["Ctrl Z", "undo"], ["Ctrl Shift Z", "redo"], ["?", "help"]],
  sheet: [["← ↑ → ↓", "move"], ["Enter", "open"], ["Space", "choose"], ["1 … 5", "stars"], ["Del", "remove"]],
  portrait: [
    ["B", "hold"], ["A", "after"], ["D", "divider"], ["S", "beside"], ["W", "change"],
    ["+ −", "zoom"], ["0", "fit"], ["1 2", "full"], ["← ↑ → ↓", "pan"], ["< >", "next"],
  ],
  burns: [["H", "burnt"], ["L", "leave"], ["Space", "dab"], ["Esc", "away"]],
  marks: [["N P", "walk"], ["K", "keep"], ["R", "remove"], ["M", "numbers"], ["T", "tool"]],
  masks: [["I", "in"], ["O", "out"], ["F G", "size"], ["Space", "dab"], ["Esc", "away"]],
};

/** Whether a key that is a single letter may do something. */
export const lettersOn = () => localStorage.getItem(OFF) === null;

/** Keys as they are written on them. */
const keyNames = (keys) => keys.split(" ").map((one) => sayOr(`key.${one}`, one)).join(" ");

export function showKeys() {
  const dialog = element("dialog", { class: "keys", "aria-labelledby": "keys-title", onclose: () => dialog.remove() },
    element("h2", { id: "keys-title" }, say("keys")),
    element("div", { class: "groups" },
      Object.entries(KEYS).map(([group, keys]) =>
        element("section", {}, element("h3", {}, say(`keys.${group}`)),
          element("dl", {}, keys.map(([key, what]) =>
            element("div", {}, element("dt", {}, element("kbd", {}, keyNames(key))), element("dd", {}, say(`keys.${group}.${what}`)))))))),
    element("label", { class: "line" },
      element("input", { type: "checkbox", checked: lettersOn(), onchange: (event) =>
        event.target.checked ? localStorage.removeItem(OFF) : localStorage.setItem(OFF, "1") }),
      element("span", {}, say("keys.letters"))),
    element("form", { method: "dialog" }, element("button", { class: "main" }, say("close"))));
  document.body.append(dialog);
  dialog.showModal();
}
