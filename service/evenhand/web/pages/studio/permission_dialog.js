// What people said about steps, as the photographer writes it down; or a link so that they say it.
// What was agreed to is taken back by an act of its own, which is confirmed; nothing else does it.

import { element, fill } from "../element.js";
import { say, sayDate, sayList } from "../words.js";
import { ask, copied, inOrder, stepWord } from "./parts.js";

const USUAL = "evenhand.asked-usually"; // the steps that were agreed to when it was last written down

/** Fields that say who said it, in which role, and how. */
function saidFields(child, name) {
  const field = (tag, id, attributes, ...children) => element(tag, { id: `said-${id}`, ...attributes }, ...children);
  const who = field("select", "who", { disabled: child },
    ["person", "guardian"].map((one) =>
      element("option", { value: one, selected: child && one === "guardian" }, say(`said.${one}`, { name }))));
  const role = field("input", "role", { maxlength: "200", list: "said-roles" });
  const roleLabel = element("label", { for: "said-role" }, say("said.role"));
  const askRole = () => { for (const part of [roleLabel, role]) part.hidden = who.value !== "guardian"; };
  who.addEventListener("change", askRole);
  askRole();
  const how = field("select", "how", {}, ["in person", "in writing"].map((one) =>
    element("option", { value: one }, say(`said.${one}`))));
  const note = field("textarea", "note", { maxlength: "4000", rows: "2" });
  return {
    parts: element("div", { class: "pair" },
      element("label", { for: "said-who" }, say("said.who")), who, roleLabel, role,
      element("datalist", { id: "said-roles" }, ["mother", "father", "legal"].map((one) =>
        element("option", { value: say(`said.role.${one}`) }))),
      element("label", { for: "said-how" }, say("said.how")), how,
      element("label", { for: "said-note" }, say("said.note")), note),
    said: () => ({ said_by: who.value, how: how.value, note: note.value,
                   role: who.value === "guardian" ? role.value.trim() || null : null }),
  };
}

const stepsOf = async (studio) => inOrder([...(await studio.service.get("/v1/steps")).map((one) => one.step), "lasting marks"]);

const stepBoxes = (names, ticked) => names.map((step) => element("input", { type: "checkbox", value: step, checked: ticked.includes(step) }));

const stepsField = (legend, names, boxes) => element("fieldset", {}, element("legend", {}, legend),
  names.map((step, k) => element("label", { class: "line" }, boxes[k], element("span", {}, stepWord(step)))));

const ticked = (boxes) => boxes.filter((box) => box.checked).map((box) => box.value);

function shown(dialog) {
  document.body.append(dialog);
  dialog.showModal();
  return dialog;
}

export async function permissionDialog(studio, shootId, name, child) {
  const [names, permissions] = await Promise.all([
    stepsOf(studio), studio.service.get(`/v1/shoots/${shootId}/permissions`)]);
  const agreed = permissions.agreed[name] ?? [];
  const open = names.filter((step) => !agreed.includes(step));
  const boxes = stepBoxes(open, []);
  const fields = saidFields(child, name);
  const trouble = element("p", { class: "wrong", role: "alert" });
  const link = element("p", { class: "made-link" });

  const record = async (event) => {
    event.preventDefault();
    const steps = ticked(boxes);
    if (!steps.length) return void (trouble.textContent = say("said.nothing-ticked"));
    try {
      await studio.service.post(`/v1/shoots/${shootId}/permissions`, { name, steps, ...fields.said() });
    } catch (error) {
      return void (trouble.textContent = error.message);
    }
    dialog.close();
    studio.news(say("said.recorded", { name, steps: steps.map(stepWord).join(", ") }));
    studio.changed();
  };
  const withdraw = async (step) => {
    if (!(await ask(say("said.withdraw-sure", { name, step: stepWord(step) }), say("said.withdraw")))) return;
    try {
      await studio.service.post(`/v1/shoots/${shootId}/withdrawals`, { name, steps: [step], ...fields.said() });
    } catch (error) {
      return void (trouble.textContent = error.message);
    }
    dialog.close();
    studio.news(say("said.withdrawn", { name, steps: stepWord(step) }));
    studio.changed();
  };
  /** They were asked, and said no: written down, so that nobody asks again and the link can be made. */
  const recordNo = async () => {
    try {
      await studio.service.post(`/v1/shoots/${shootId}/withdrawals`, { name, steps: names, ...fields.said() });
    } catch (error) {
      return void (trouble.textContent = error.message);
    }
    dialog.close();
    studio.news(say("said.recorded-no", { name }));
    studio.changed();
  };
  const makeLink = async () => {
    try {
      const made = await studio.service.post(`/v1/shoots/${shootId}/permission-links`, { name });
      const address = element("input", { readonly: true, value: made.url ?? `${location.origin}${made.path}`, "aria-label": say("said.link") });
      const told = element("span", { role: "status" });
      fill(link, say("said.link-once", { date: sayDate(made.expires_at) }), address,
        element("button", { type: "button", onclick: async () => (told.textContent = await copied(address)) }, say("proof.copy")), told);
      address.select();
    } catch (error) {
      trouble.textContent = error.message;
    }
  };
  const dialog = shown(element("dialog", { "aria-labelledby": "said-title", onclose: () => dialog.remove() },
    element("form", { onsubmit: record },
      element("h2", { id: "said-title" }, say("said.title", { name })),
      agreed.length > 0 && element("ul", { class: "agreed-list" }, inOrder(agreed).map((step) =>
        element("li", { class: "row" }, element("span", {}, stepWord(step)),
          element("button", { type: "button", class: "quiet", onclick: () => withdraw(step) }, say("said.withdraw-one"),
            element("span", { class: "only-heard" }, ` ${stepWord(step)}`))))),
      element("p", {}, say(child ? "said.child" : "said.ask")),
      open.length > 0 && stepsField(say("said.steps"), open, boxes),
      fields.parts, trouble,
      element("div", { class: "row" },
        open.length > 0 && element("button", { class: "main" }, say("said.record")),
        !agreed.length && element("button", { type: "button", onclick: recordNo }, say("said.no")),
        element("button", { type: "button", onclick: makeLink }, say("said.make-link")),
        element("button", { type: "button", onclick: () => dialog.close() }, say("close"))), link)));
}

/**
 * Write down what several people said alike.
 *
 * @param {{name: string, child: boolean}[]} people  everybody named
 * @param {string[]} never  names of those who were not asked yet; they are ticked at first
 */
export async function severalDialog(studio, shootId, people, never) {
  const names = await stepsOf(studio);
  const grown = people.filter((one) => !one.child), children = people.filter((one) => one.child);
  const who = grown.map((one) => element("input", { type: "checkbox", value: one.name, checked: never.includes(one.name) }));
  const usual = JSON.parse(localStorage.getItem(USUAL) ?? "[]");
  const boxes = stepBoxes(names, usual);
  const fields = saidFields(false, say("said.person"));
  const trouble = element("p", { class: "wrong", role: "alert" });
  const record = async (event) => {
    event.preventDefault();
    const steps = ticked(boxes), said = ticked(who);
    if (!steps.length || !said.length) return void (trouble.textContent = say("said.nothing-ticked"));
    try {
      for (const name of said) await studio.service.post(`/v1/shoots/${shootId}/permissions`, { name, steps, ...fields.said() });
    } catch (error) {
      studio.changed();
      return void (trouble.textContent = error.message);
    }
    localStorage.setItem(USUAL, JSON.stringify(steps));
    dialog.close();
    studio.news(say("said.recorded", { name: sayList(said), steps: steps.map(stepWord).join(", ") }));
    studio.changed();
  };
  const dialog = shown(element("dialog", { "aria-labelledby": "said-title", onclose: () => dialog.remove() },
    element("form", { onsubmit: record },
      element("h2", { id: "said-title" }, say("people.several")),
      element("p", {}, say("said.several-how")),
      element("fieldset", {}, element("legend", {}, say("said.several-who")),
        element("div", { class: "names" }, grown.map((one, k) => element("label", { class: "line" }, who[k], element("span", {}, one.name))))),
      children.length > 0 && element("p", { class: "quiet" }, say("said.several-children", { names: sayList(children.map((one) => one.name)) })),
      stepsField(say("said.several-steps"), names, boxes), fields.parts, trouble,
      element("div", { class: "row" },
        element("button", { class: "main" }, say("said.record")),
        element("button", { type: "button", onclick: () => dialog.close() }, say("close"))))));
}
