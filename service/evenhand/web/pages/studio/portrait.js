// One portrait: looking, strengths, masks and marks; the others of the shoot in a row beneath.

import { arrange, element, icon, refill } from "../element.js";
import { say, sayDate, sayPercent } from "../words.js";
import { shareSlider } from "../slider.js";
import { Viewer } from "../viewer.js";
import { burnsPanel } from "./burns.js";
import { changesPanel } from "./changes.js";
import { changeMap } from "./change_map.js";
import { filmStrip } from "./film_strip.js";
import { historyPanel } from "./history.js";
import { lettersOn } from "./keys.js";
import { byHand, removeButton } from "./by_hand.js";
import { marksPanel } from "./marks.js";
import { masksPanel } from "./masks.js";
import { ask, crumbs, faceRegion, inOrder, Pictures, SKIN, stateSign, stepWord } from "./parts.js";
import { agreedLine, fillNames, namesList, namingField, offerFor } from "./people.js";
import { strengthBrush } from "./strength_brush.js";
import { strengthsDialog } from "./strengths_dialog.js";

const NOTICES = ["doctor", "permission", "personal data", "labelling"];
const CARRIED = ["zoom", "compare", "divider", "change", "marks", "marksopen", "brush", "canvas"]; // to the next portrait
const AHEAD = [1, -1, 2]; // portraits made ready, from this one

export async function portraitView(studio, [, id], kept) {
  const { service } = studio;
  const known = studio.shoots.get(id)?.portrait.width ? studio.shoots.get(id) : null;
  const portrait = known?.portrait ?? await service.get(`/v1/portraits/${id}`);
  const shoot = known?.shoot ?? await service.get(`/v1/shoots/${portrait.shoot_id}`);
  let portraits = known?.portraits ?? await service.get(`/v1/shoots/${portrait.shoot_id}/portraits`);
  if (!portrait.width) throw Object.assign(new Error(portrait.trouble ?? say("portrait.unread")), { status: 409 });
  const pictures = new Pictures(service);
  const state = { ...kept };
  const keep = (more) => {
    Object.assign(state, more);
    for (const name of Object.keys(state)) if (state[name] === null) delete state[name];
    studio.keep(state);
  };

  const viewer = new Viewer({ service, portrait, painter: kept.canvas,
    view: { zoom: kept.zoom ? Number(kept.zoom) : null, compare: kept.compare ?? "after",
            divider: Number(kept.divider ?? 0.5),
            ...(kept.x ? { x: Number(kept.x), y: Number(kept.y) } : {}) },
    onview: (view) => {
      drawTools();
      keep({ zoom: view.zoom, compare: view.compare === "after" ? null : view.compare,
             divider: view.divider === 0.5 ? null : view.divider.toFixed(3),
             x: view.zoom ? view.x.toFixed(2) : null, y: view.zoom ? view.y.toFixed(2) : null });
    } });
  viewer.tiles.failed = (error) => studio.trouble(error.message);
  viewer.rough = () => studio.previews.get(id);
  studio.previews.ready(id)?.then(() => viewer.redraw());

  const tools = element("div", { class: "tools", role: "toolbar", "aria-label": say("tools") });
  const status = element("div", { class: "status" });
  const people = element("div", { class: "people" });
  const nobody = element("p", { class: "waits", hidden: true }, say("portrait.nobody"));
  const list = namesList();
  const film = filmStrip(studio, pictures, id, (other) => open(other));
  const change = changeMap(studio, viewer, portrait, kept.change === "1", (on) => { keep({ change: on ? "1" : null }); drawTools(); });
  const burns = burnsPanel(studio, viewer, portrait, pictures);
  const marks = marksPanel(studio, viewer, portrait, kept, keep);
  const masks = masksPanel(studio, viewer, portrait, kept, keep);
  const places = strengthBrush(studio, viewer, portrait);
  const missing = byHand(studio, portrait);
  const changes = changesPanel(studio, portrait.shoot_id, id);
  const lock = element("div", { class: "lock" });
  const history = historyPanel(studio, portrait);
  const root = element("div", { class: "portrait", "data-page": "full" },
    element("div", { class: "looking" },
      element("h1", { class: "only-heard" }, portrait.name), tools, viewer.root, burns.hint, masks.hint, places.hint, change.legend, film.root),
    element("div", { class: "doing", tabindex: "-1" }, status, lock, changes.root, people, nobody, missing.root, list, marks.root, masks.root, history.root,
      NOTICES.map((one) => element("p", { class: "notice" }, say(`notice.${one}`)))));

  const shownOnes = () => portraits.filter((one) => one.width);
  const neighbour = (step) => {
    const all = shownOnes(), at = all.findIndex((one) => one.id === id);
    return all[at + step];
  };
  /** Open another portrait of the shoot as this one is looked at: its size, and before beside after. */
  const open = (other) => {
    const carried = Object.fromEntries(CARRIED.filter((one) => state[one] !== undefined && state[one] !== null).map((one) => [one, state[one]]));
    const query = new URLSearchParams(carried).toString();
    studio.go(`/portrait/${other}${query ? `?${query}` : ""}`);
  };
  /** Keep what is known of the shoot and make its next portraits ready. */
  const remember = () => {
    studio.shoots = new Map(portraits.map((one) => [one.id, { portrait: one, shoot, portraits }]));
    for (const step of AHEAD) {
      const next = neighbour(step);
      if (next) studio.previews.ready(next.id);
    }
  };

  function drawTools() {
    const { view } = viewer;
    const radio = (name, value, now, text, set) =>
      element("button", { type: "button", role: "radio", "aria-checked": String(value === now),
        "data-key": `${name}:${value}`, onclick: () => set(value) }, text);
    const shown = viewer.zooms?.() ?? [null];
    refill(tools, [view.compare, view.zoom, change.on, shown, burns.brush(), marks.pointing()], () => [
      element("div", { role: "radiogroup", "aria-label": say("tools.compare") },
        ["after", "divider", "beside", "before"].map((one) =>
          radio("compare", one, view.compare, [icon(one), element("span", { class: "word" }, say(`compare.${one}`))], (value) => viewer.setCompare(value)))),
      element("div", { role: "radiogroup", "aria-label": say("tools.size") },
        shown.map((zoom) => radio("zoom", zoom, view.zoom, zoom === null ? say("zoom.fit") : sayPercent(zoom),
          (value) => viewer.zoomTo(value)))),
      element("button", { type: "button", "aria-pressed": String(change.on), "data-key": "change",
        onclick: () => change.toggle() }, icon("change"), element("span", { class: "word" }, say("tools.change"))),
      marks.tool(),
      element("div", { class: "row", role: "group", "aria-label": say("burns") }, burns.tools())]);
  }
  marks.changed = drawTools;
  burns.changed = () => {
    drawTools();
    drawPeople();
    viewer.redraw();
  };

  masks.changed = places.changed = () => drawPeople();

  const strengthControl = (layer, name) => {
    const choose = async (strength) => {
      const path = `/v1/layers/${layer.id}/strength`;
      const before = layer.strength;
      layer.strength = strength;
      await studio.do({ same: path, label: say("strength.of", { step: stepWord(layer.step), name: name ?? "" }),
        redo: { method: "PUT", path, json: { strength } }, undo: { method: "PUT", path, json: { strength: before } } });
    };
    return shareSlider({ id: `strength-${layer.id}`, label: stepWord(layer.step), value: layer.strength, key: `strength:${layer.id}`,
      moved: (share) => viewer.setStrength(layer.id, share), chosen: choose });
  };

  /** A card of a person; the field with their name stays, what is told beneath follows. */
  const personCard = (told) => {
    const person = { ...told };
    const face = element("img", { alt: "", width: 72, height: 72 });
    if (person.face) {
      pictures.into(face, `/v1/portraits/${id}/iiif/original/${faceRegion(person.face, portrait)}/!144,144/0/default.jpg`);
    }
    const naming = namingField(studio, person, () => undefined, () => undefined);
    const rest = element("div", { class: "rest" });
    const root = element("section", { class: "panel person" },
      element("div", { class: "who" }, person.face && face, naming), rest);
    root.show = (now, layers, offered, failed) => {
      Object.assign(person, now);
      root.setAttribute("aria-label", person.name ?? say("people.unnamed"));
      naming.show(offered);
      const own = inOrder(layers.filter((layer) => layer.person === person.id), (layer) => layer.step);
      refill(rest, [person, own.map(({ id: layer, strength, sha256, painted }) => [layer, strength, sha256, painted]), failed,
                    burns.said().filter(([one]) => one === person.id), burns.earlier(person), masks.skinBrush(), places.inHand()], () => [
        agreedLine(studio, portrait.shoot_id, person),
        own.map((layer) => [strengthControl(layer, person.name), layer.step === "redness" && burns.of(person, layer, failed)]),
        own.length > 0 && places.of(person, own),
        own.length > 0 && element("button", { type: "button", class: "give", "data-key": `give:${person.id}`,
          onclick: () => strengthsDialog(studio, shoot, { name: person.name,
            strengths: Object.fromEntries(own.map((layer) => [layer.step, layer.strength])) }) }, say("strengths.to-all-of", { name: person.name })),
        !person.regions.some(({ region }) => SKIN.includes(region)) ? element("p", { class: "waits" }, say("skin.none-yet"))
          : person.agreed.length > 0 && !own.length && element("p", { class: "waits" }, say("portrait.working")),
        element("div", { class: "row skin", role: "group", "aria-label": say("skin", { name: person.name ?? say("people.unnamed") }) }, masks.skinTools(person),
          person.by_hand && removeButton(studio, person))]);
    };
    return root;
  };

  let cards = { found: [], layers: [], offers: new Map() };
  const drawPeople = () => {
    const { found, layers, offers, failed } = cards;
    nobody.hidden = found.length > 0;
    missing.show(found);
    arrange(people, found.map((person) => ({ key: person.id, facts: person.face, make: () => personCard(person) })));
    for (const person of found) {
      [...people.children].find((card) => card.dataset.thing === person.id).show(person, layers, offers.get(person.id) ?? null, failed);
    }
  };

  let layersBefore = "", changedSince = false; // whether the small picture kept of it is an old one
  const look = async () => {
    const askedAt = performance.now();
    const [now, found, layers, markList, everybody, all] = await Promise.all([
      service.get(`/v1/portraits/${id}`), service.get(`/v1/portraits/${id}/people`),
      service.get(`/v1/portraits/${id}/layers`), service.get(`/v1/portraits/${id}/marks`),
      service.get(`/v1/shoots/${portrait.shoot_id}/people`), service.get(`/v1/shoots/${portrait.shoot_id}/portraits`)]);
    await colours;
    if (root.querySelector("input[type=range]:active, input[type=range][data-moved]")) return;
    const failed = await burns.failure(found, layers);
    if (!burns.holds(askedAt)) return;
    portraits = all;
    film.show(all);
    remember();
    const shownNow = shownOnes(), at = shownNow.findIndex((one) => one.id === id);
    refill(status, [now.state, at, shownNow.length], () => [element("strong", {}, portrait.name), stateSign(now.state),
      element("span", { class: "row" }, [-1, 1].map((step) => {
        const next = neighbour(step);
        return element("button", { type: "button", class: "bare", disabled: !next, "data-key": `go:${step}`,
          onclick: () => open(neighbour(step).id) }, step < 0 && icon("left"), say(step < 0 ? "portrait.previous" : "portrait.next"), step > 0 && icon("right"));
      }), element("span", { class: "quiet number" }, say("portrait.of", { number: at + 1, count: shownNow.length })))]);
    fillNames(list, everybody);
    const offers = new Map(everybody.flatMap((one, k) => (one.portrait === id ? [[one.person.id, offerFor(everybody, k)]] : [])));
    burns.show(found, layers, everybody, all);
    places.show(layers);
    cards = { found, layers, offers, failed };
    drawPeople();
    drawLock(now);
    setHome(found);
    const key = JSON.stringify(layers.map(({ id: layer, person, step, strength, sha256 }) => [layer, person, step, strength, sha256]));
    if (key !== layersBefore) {
      if (layersBefore) changedSince = true;
      layersBefore = key;
      viewer.setLayers(layers);
      change.look();
    }
    marks.show(markList, found);
    masks.show(found, now.state === "working");
    history.look();
    await changes.look([now]);
    root.dataset.state = now.state;
  };

  /** What was signed, and the way to change it all the same. */
  const drawLock = (now) => {
    lock.hidden = !now.locked;
    root.classList.toggle("locked", now.locked);
    refill(lock, [now.locked, now.signed], () => !now.locked ? [] : [
      element("p", {}, icon("signed"), say("locked.signed", { name: now.signed.signed_by, date: sayDate(now.signed.signed_at) })),
      element("button", { type: "button", "data-key": "unlock", onclick: async () => {
        if (!(await ask(say("locked.sure"), say("locked.do")))) return;
        await service.put(`/v1/portraits/${id}/lock`, { locked: false }).catch((error) => studio.trouble(error.message));
        studio.changed();
      } }, say("locked.unlock"))]);
    for (const control of people.querySelectorAll("input, button")) control.disabled = now.locked && !control.dataset.key?.startsWith("ask:");
  };

  /** What is enlarged opens on the largest face. */
  const setHome = (found) => {
    if (viewer.home) return;
    const size = ({ face }) => (face.right - face.left) * (face.bottom - face.top);
    const largest = found.filter((person) => person.face).sort((one, other) => size(other) - size(one))[0];
    if (!largest) return;
    const { left, right, top, bottom } = largest.face;
    viewer.home = { x: (left + right) / 2, y: (top + bottom) / 2 };
    if (viewer.view.zoom !== null && !kept.x) viewer.lookAt(viewer.home.x, viewer.home.y);
  };

  const key = (event) => {
    if (event.target.matches("input[type=range], [role=slider]") && event.key.startsWith("Arrow")) return false;
    if (burns.key(event) || places.key(event) || masks.key(event) || viewer.key(event)) return true;
    if (event.key === "Escape" && marks.away()) return true;
    if (["<", ",", "PageUp"].includes(event.key) || [">", ".", "PageDown"].includes(event.key)) {
      const next = neighbour(["<", ",", "PageUp"].includes(event.key) ? -1 : 1);
      if (next) open(next.id);
      return true;
    }
    if (!lettersOn()) return false;
    const letter = event.key.toLowerCase();
    const toggle = (compare) => viewer.setCompare(viewer.view.compare === compare ? "after" : compare);
    if (letter === "b") viewer.hold(true);
    else if (letter === "a") viewer.setCompare("after");
    else if (letter === "d") toggle("divider");
    else if (letter === "s") toggle("beside");
    else if (letter === "w") change.toggle();
    else return marks.key(letter);
    return true;
  };
  const keyUp = (event) => event.key.toLowerCase() === "b" && viewer.hold(false);
  const letGo = () => viewer.hold(false);
  addEventListener("keyup", keyUp);
  addEventListener("blur", letGo);

  const colours = service.get(`/v1/portraits/${id}/display-colours`).then((told) => viewer.setColours(told.kind === "same" ? null : told));
  drawTools();
  remember();
  film.show(portraits);
  const first = look();
  if (!known) await first;
  else first.catch((error) => error.name !== "AbortError" && studio.trouble(error.message));
  return {
    root, look, key, portrait: id, refresh: burns.refresh, title: portrait.name, crumbs: crumbs(shoot, portrait.name),
    shown: () => { studio.viewer = viewer; window.evenhandViewer = viewer; },
    stop: () => {
      removeEventListener("keyup", keyUp);
      removeEventListener("blur", letGo);
      viewer.stop();
      pictures.stop();
      changes.stop();
      if (changedSince) studio.previews.forget(id);
    },
  };
}
