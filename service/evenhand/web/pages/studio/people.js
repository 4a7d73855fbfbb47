// Everybody in a shoot: who they are, as the photographer says, and what they agreed to.

import { element, refill } from "../element.js";
import { say, sayDate } from "../words.js";
import { crumbs, faceRegion, inOrder, Pictures, stepWord, tabs } from "./parts.js";
import { permissionDialog } from "./permission_dialog.js";

/** A form in which a person is named; the same name means the same person. */
export function namingForm(studio, person, names) {
  const list = `names-${person.id}`;
  const name = element("input", { value: person.name ?? "", maxlength: "200", list, autocomplete: "off",
    "data-key": `name:${person.id}`, id: `name-${person.id}` });
  const child = element("input", { type: "checkbox", checked: person.child, "data-key": `child:${person.id}` });
  const save = () => {
    const now = { name: name.value.trim() || null, child: child.checked };
    if (now.name === person.name && now.child === person.child) return;
    const path = `/v1/people/${person.id}`;
    studio.do({ label: say("people.named", { name: now.name ?? say("people.nobody") }),
      redo: { method: "PUT", path, json: now },
      undo: { method: "PUT", path, json: { name: person.name, child: person.child } } });
  };
  return element("form", { class: "naming", onsubmit: (event) => { event.preventDefault(); save(); }, onchange: save },
    element("label", { for: name.id }, say("people.name")), name, element("datalist", { id: list }, names.map((one) => element("option", { value: one }))),
    element("label", { class: "line" }, child, element("span", {}, say("people.child"))));
}

/** What a person agreed to, in short, with the way to write more down. */
export function agreedLine(studio, shootId, person) {
  return element("p", { class: "agreed" },
    element("span", {}, person.name === null ? say("people.name-first")
      : person.agreed.length ? say("people.agreed", { steps: inOrder(person.agreed).map(stepWord).join(", ") }) : say("people.agreed-nothing")),
    person.name !== null && element("button", { type: "button", "data-key": `ask:${person.id}`,
      onclick: () => permissionDialog(studio, shootId, person.name, person.child) }, say("people.permission")));
}

export async function peopleView(studio, [, id]) {
  const shoot = await studio.service.get(`/v1/shoots/${id}`);
  const pictures = new Pictures(studio.service);
  const list = element("div", { class: "people" });
  const said = element("ol", { class: "said" });
  const root = element("div", { "data-page": "wide" },
    element("h1", {}, shoot.name), tabs(shoot, "people"),
    element("p", { class: "notice" }, say("notice.permission"), " ", say("notice.personal data")),
    list, element("h2", {}, say("people.said")), said);
  const look = async () => {
    const [found, portraits, permissions] = await Promise.all([
      studio.service.get(`/v1/shoots/${id}/people`), studio.service.get(`/v1/shoots/${id}/portraits`),
      studio.service.get(`/v1/shoots/${id}/permissions`)]);
    const sizes = new Map(portraits.map((portrait) => [portrait.id, portrait]));
    const names = [...new Set(found.map(({ person }) => person.name).filter(Boolean))].sort();
    const groups = [...names.map((name) => [name, found.filter(({ person }) => person.name === name)]),
                    ...found.filter(({ person }) => !person.name).map((one) => [null, [one]])];
    refill(list, [found, names], () => groups.length ? groups.map(([name, group]) =>
      element("section", { class: "panel person" },
        element("h2", {}, name ?? say("people.unnamed")),
        element("div", { class: "faces" }, group.map(({ portrait, person }) => {
          const image = element("img", { alt: say("people.in", { name: sizes.get(portrait).name }), width: 96, height: 96 });
          if (person.face) {
            const region = faceRegion(person.face, sizes.get(portrait));
            pictures.into(image, `/v1/portraits/${portrait}/iiif/original/${region}/!160,160/0/default.jpg`);
          }
          return element("a", { href: `#/portrait/${portrait}` }, image);
        })),
        group.map(({ person }, k) => (name === null || k === 0) && namingForm(studio, person, names)),
        agreedLine(studio, id, group[0].person)))
      : element("p", { class: "empty" }, say("people.none")));
    refill(said, permissions.said, () => !permissions.said.length ? element("li", {}, say("people.said-nothing"))
      : permissions.said.toReversed().map((one) =>
      element("li", {}, say(one.given ? "people.gave" : "people.took", {
        name: one.name, steps: inOrder(one.steps).map(stepWord).join(", "), date: sayDate(one.said_at),
        who: one.role ?? say(`said.${one.said_by}`, { name: one.name }), how: say(`said.${one.how}`) }),
        one.note && element("q", {}, one.note))));
  };
  await look();
  return { root, look, title: `${say("tabs.people")} · ${shoot.name}`, crumbs: crumbs(shoot, say("tabs.people")),
           stop: () => pictures.stop() };
}
