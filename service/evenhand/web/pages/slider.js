// A slider as wide as its place, with the number that it stands at, which can be typed.

import { element } from "./element.js";

/**
 * A share from 0 to 1, shown and typed as a percentage.
 *
 * @param {object} options  id, label, value, key (data-key that keeps the focus),
 *   moved (called for every move with the share), chosen (called when a share is chosen)
 */
export function shareSlider({ id, label, value, key, moved, chosen }) {
  const range = element("input", { type: "range", min: "0", max: "100", step: "1", value: String(Math.round(value * 100)),
    id, "data-key": key });
  const typed = element("input", { type: "number", min: "0", max: "100", step: "1", value: range.value,
    "aria-label": `${label} (%)`, "data-key": `${key}:typed`, inputmode: "numeric" });
  const show = () => range.style.setProperty("--part", range.value);
  const choose = async () => {
    await chosen(range.value / 100);
    delete range.dataset.moved;
  };
  const move = (from, to) => {
    to.value = from.value;
    range.dataset.moved = "";
    show();
    moved?.(range.value / 100);
  };
  range.addEventListener("input", () => move(range, typed));
  range.addEventListener("change", choose);
  typed.addEventListener("input", () => typed.value !== "" && typed.checkValidity() && move(typed, range));
  typed.addEventListener("change", () => {
    typed.value = range.value; // what cannot be chosen is put right
    choose();
  });
  show();
  return element("div", { class: "strength" }, element("label", { for: id }, label),
    element("span", { class: "typed" }, typed, "%"), range);
}
