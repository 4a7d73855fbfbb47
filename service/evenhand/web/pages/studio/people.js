// Everybody in a shoot: who they are, as the photographer says, and what they agreed to.

import { arrange, element, icon, refill } from "../element.js";
import { say, sayDate } from "../words.js";
import { crumbs, faceRegion, inOrder, Pictures, stepWord, tabs } from "./parts.js";
import { permissionDialog, severalDialog } from "./permission_dialog.js";

const saving = new Set(); // people whose names are on their way
let savedAt = 0; // when the last one had arrived

/** Say who a person is; the same name means the same person. A name is put right by another one. */
async function name(studio, person, now) {
  const before = { name: person.name, child: person.child };
  if (now.name === before.name && now.child === before.child) return;
  Object.assign(person, now);
  saving.add(person.id);
  try {
    await studio.service.put(`/v1/people/${person.id}`, now);
  } catch (error) {
    Object.assign(person, before);
    studio.trouble(error.message);
  }
  saving.delete(person.id);
  savedAt = performance.now();
  studio.changed();
}

/**
 * A field in which a person is named. A name is offered where the photographer's own choices suggest
 * one: Enter in the empty field, or a click, takes it; nothing else ever does. Which name is offered
 * may change while the field is in use: call `show` of what is returned.
 *
 * @param {() => void} said  called at once when something was said
 * @param {() => void} done  called when Enter has said who it is
 */
export function namingField(studio, person, said, done) {
  let offered = null;
  const label = say("people.name");
  const field = element("input", { value: person.name ?? "", maxlength: "200", list: "names", autocomplete: "off",
    "data-key": `name:${person.id}`, id: `name-${person.id}`, "aria-describedby": `offer-${person.id}`,
    onchange: () => save() });
  const save = () => {
    name(studio, person, { name: field.value.trim() || null, child: person.child });
    said();
  };
  const take = () => {
    field.value = offered;
    save();
    done();
  };
  const button = element("button", { type: "button", class: "offer", id: `offer-${person.id}`, tabindex: "-1", onclick: () => take(),
    title: say("people.offer-how"), hidden: true });
  const form = element("form", { class: "naming", onsubmit: (event) => {
    event.preventDefault();
    if (offered && !field.value.trim()) return take();
    save();
    done();
  } },
    element("label", { for: field.id }, label), field, button);
  /** Show who it is now, unless somebody is writing, and which name is offered. */
  form.show = (now) => {
    if (document.activeElement !== field) field.value = person.name ?? "";
    offered = now;
    button.hidden = !offered;
    button.textContent = offered ? say("people.offer", { name: offered }) : "";
  };
  return form;
}

/** All names given in a shoot, for the fields in which one is written. */
export const namesList = () => element("datalist", { id: "names" });

export const fillNames = (list, found) => {
  const names = [...new Set(found.map(({ person }) => person.name).filter(Boolean))].sort();
  refill(list, names, () => names.map((one) => element("option", { value: one })));
  return names;
};

/**
 * A name for somebody not named yet: whoever the photographer named at this place, counted from the
 * left, in the portrait before, unless they are in this one already.
 */
export function offerFor(found, at) {
  const { portrait, person } = found[at];
  if (person.name) return null;
  const here = new Set(found.filter((one) => one.portrait === portrait).map((one) => one.person.name));
  for (let k = at - 1; k >= 0; k--) {
    const before = found[k];
    if (before.portrait === portrait || !before.person.name) continue;
    const theirs = found.filter((one) => one.portrait === before.portrait && one.person.name && !here.has(one.person.name));
    return (theirs.find((one) => one.person.index === person.index) ?? theirs[0])?.person.name ?? null;
  }
  return null;
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
  const faces = element("ul", { class: "who-is-who", "aria-label": say("people.who") });
  const none = element("p", { class: "empty" });
  const names = namesList();
  const asked = element("ul", { class: "asked" });
  const said = element("ol", { class: "said" });
  const count = element("span", { class: "quiet", role: "status" });
  const several = element("button", { type: "button", class: "main", onclick: async () => {
    await look(); // whoever was named a moment ago is asked too
    await severalDialog(studio, id, named, never);
  } }, say("people.several"));
  const agreement = element("section", {}, element("div", { class: "row head" }, element("h2", {}, say("people.agreement")), several),
    element("p", { class: "notice" }, say("notice.permission"), " ", say("notice.personal data")), asked);
  const root = element("div", { "data-page": "wide" },
    element("h1", {}, shoot.name), tabs(shoot, "people"), names,
    element("section", {}, element("div", { class: "row head" }, element("h2", {}, say("people.who")), count),
      element("p", { class: "quiet" }, say("people.who-how")), faces, none),
    agreement, element("details", {}, element("summary", {}, element("h2", {}, say("people.said"))), said));
  let named = [], never = [], there = [];

  /** Offer names, as they stand at this moment. */
  const offer = () => there.forEach((one, at) =>
    [...faces.children].find((tile) => tile.dataset.thing === one.person.id)?.querySelector("form").show(offerFor(there, at)));

  /** The next field that waits for a name after one; where none does, the button that asks. */
  const goOn = (person) => {
    const fields = [...faces.querySelectorAll("input")];
    const at = fields.findIndex((one) => one.dataset.key === `name:${person.id}`);
    (fields.slice(at + 1).find((one) => !one.value) ?? fields.find((one) => !one.value) ?? several).focus();
  };

  const tile = (one, portrait) => {
    const { person } = one;
    const image = element("img", { alt: say("people.in", { name: portrait.name }), width: 160, height: 160 });
    if (person.face) pictures.into(image, `/v1/portraits/${portrait.id}/iiif/original/${faceRegion(person.face, portrait)}/!320,320/0/default.jpg`);
    return element("li", { class: person.name ? "named" : null },
      element("a", { href: `#/portrait/${portrait.id}`, tabindex: "-1", title: portrait.name }, image),
      namingField(studio, person, offer, () => goOn(person)));
  };

  const row = (who, group) => element("li", {},
    element("strong", {}, who),
    element("span", { class: "quiet" }, say("shoots.portraits", { count: group.length })),
    element("label", { class: "line" },
      element("input", { type: "checkbox", checked: group[0].person.child, "data-key": `child:${who}`,
        onchange: (event) => name(studio, group[0].person, { name: who, child: event.target.checked }) }),
      element("span", {}, say("people.child"))),
    agreedLine(studio, id, group[0].person));

  const look = async () => {
    const askedAt = performance.now();
    const [found, portraits, permissions] = await Promise.all([
      studio.service.get(`/v1/shoots/${id}/people`), studio.service.get(`/v1/shoots/${id}/portraits`),
      studio.service.get(`/v1/shoots/${id}/permissions`)]);
    const shown = new Map(portraits.map((portrait) => [portrait.id, portrait]));
    if (askedAt < savedAt) return; // an answer from before something was said
    // Whoever is being named is known by what was just said, until the service tells it too.
    const known = new Map(there.map((one) => [one.person.id, one.person]));
    there = found.filter((one) => shown.has(one.portrait)).map((one) => {
      const mine = known.get(one.person.id) ?? one.person;
      return { ...one, person: saving.has(mine.id) ? mine : Object.assign(mine, one.person) };
    });
    const all = fillNames(names, there);
    arrange(faces, there.map((one) => ({ key: one.person.id, facts: [one.person.name, one.person.face],
      make: () => tile(one, shown.get(one.portrait)) })));
    offer();
    const looking = portraits.filter((portrait) => portrait.state === "new").length;
    none.hidden = there.length > 0;
    none.textContent = say(looking ? "people.looking" : "people.none");
    const open = there.filter(({ person }) => !person.name).length;
    const text = [looking && say("people.still-looking", { count: looking }),
                  there.length && say("people.to-name", { count: open })].filter(Boolean).join(" · ");
    if (count.textContent !== text) count.textContent = text;
    const spoke = new Set(permissions.said.map((one) => one.name));
    named = all.map((who) => ({ name: who, child: there.find(({ person }) => person.name === who).person.child }));
    never = all.filter((who) => !spoke.has(who));
    agreement.hidden = !all.length;
    several.disabled = !named.length;
    arrange(asked, all.map((who) => {
      const group = there.filter(({ person }) => person.name === who);
      return { key: who, facts: [group[0].person.agreed, group[0].person.child, group.length], make: () => row(who, group) };
    }));
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
