// What a person said about steps, as the photographer writes it down; or a link so that they say it.

import { element, fill } from "../element.js";
import { say, sayDate } from "../words.js";
import { inOrder, stepWord } from "./parts.js";

export async function permissionDialog(studio, shootId, name, child) {
  const [steps, permissions] = await Promise.all([
    studio.service.get("/v1/steps"), studio.service.get(`/v1/shoots/${shootId}/permissions`)]);
  const agreed = new Set(permissions.agreed[name] ?? []);
  const names = inOrder([...steps.map((one) => one.step), "lasting marks"]);
  const trouble = element("p", { class: "wrong", role: "alert" });
  const field = (tag, id, attributes, ...children) => element(tag, { id: `said-${id}`, ...attributes }, ...children);
  const boxes = names.map((step) => element("input", { type: "checkbox", value: step, checked: agreed.has(step) }));
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
  const link = element("p", { class: "made-link" });

  const body = (chosen) => ({ name, steps: chosen, said_by: who.value, how: how.value, note: note.value,
                              role: who.value === "guardian" ? role.value.trim() || null : null });
  const record = async (event) => {
    event.preventDefault();
    const wanted = names.filter((step, k) => boxes[k].checked);
    const given = wanted.filter((step) => !agreed.has(step));
    const taken = names.filter((step) => agreed.has(step) && !wanted.includes(step));
    try {
      if (given.length) await say1("permissions", "withdrawals", given);
      if (taken.length) await say1("withdrawals", "permissions", taken);
      dialog.close();
    } catch (error) {
      trouble.textContent = error.message;
    }
  };
  /** Record what was said as a deed; undoing it is recorded too, with its reason. */
  const say1 = async (way, back, chosen) => {
    const json = body(chosen);
    const path = (where) => `/v1/shoots/${shootId}/${where}`;
    await studio.service.post(path(way), json);
    const label = say(way === "permissions" ? "said.recorded" : "said.withdrawn",
                      { name, steps: chosen.map(stepWord).join(", ") });
    studio.deeds.add({ label, redo: { method: "POST", path: path(way), json },
                       undo: { method: "POST", path: path(back), json: { ...json, note: say("said.by-mistake") } } });
    studio.news(label);
    studio.changed();
  };
  const makeLink = async () => {
    try {
      const made = await studio.service.post(`/v1/shoots/${shootId}/permission-links`, { name });
      const address = element("input", { readonly: true, value: `${location.origin}${made.path}`, "aria-label": say("said.link") });
      fill(link, say("said.link-once", { date: sayDate(made.expires_at) }), address);
      address.select();
    } catch (error) {
      trouble.textContent = error.message;
    }
  };
  const dialog = element("dialog", { "aria-labelledby": "said-title", onclose: () => dialog.remove() },
    element("form", { onsubmit: record },
      element("h2", { id: "said-title" }, say("said.title", { name })),
      element("p", {}, say(child ? "said.child" : "said.ask")),
      element("fieldset", {}, element("legend", {}, say("said.steps")),
        names.map((step, k) => element("label", { class: "line" }, boxes[k], element("span", {}, stepWord(step))))),
      element("div", { class: "pair" },
        element("label", { for: "said-who" }, say("said.who")), who,
        roleLabel, role,
        element("datalist", { id: "said-roles" }, ["mother", "father", "legal"].map((one) =>
          element("option", { value: say(`said.role.${one}`) }))),
        element("label", { for: "said-how" }, say("said.how")), how,
        element("label", { for: "said-note" }, say("said.note")), note),
      element("p", { class: "quiet" }, say("said.withdraw-means")), trouble,
      element("div", { class: "row" },
        element("button", { class: "main" }, say("said.record")),
        element("button", { type: "button", onclick: makeLink }, say("said.make-link")),
        element("button", { type: "button", onclick: () => dialog.close() }, say("close"))), link));
  document.body.append(dialog);
  dialog.showModal();
}
