// One portrait: looking, strengths, masks and marks.

import { element, fill, refill } from "../element.js";
import { say, sayPercent } from "../words.js";
import { isMoved, shareSlider } from "../slider.js";
import { Viewer } from "../viewer.js";
import { burnsPanel } from "./burns.js";
import { changeMap } from "./change_map.js";
import { lettersOn } from "./keys.js";
import { marksPanel } from "./marks.js";
import { masksPanel } from "./masks.js";
import { crumbs, faceRegion, inOrder, Pictures, stateSign, stepWord } from "./parts.js";
import { agreedLine, namingForm } from "./people.js";

const NOTICES = ["doctor", "permission", "personal data", "labelling"];

export async function portraitView(studio, [, id], kept) {
  const { service } = studio;
  const portrait = await service.get(`/v1/portraits/${id}`);
  const [shoot, portraits] = await Promise.all([
    service.get(`/v1/shoots/${portrait.shoot_id}`), service.get(`/v1/shoots/${portrait.shoot_id}/portraits`)]);
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

  const tools = element("div", { class: "tools", role: "toolbar", "aria-label": say("tools") });
  const status = element("div", { class: "status" });
  const people = element("div", { class: "people" });
  const change = changeMap(studio, viewer, portrait, kept.change === "1", (on) => { keep({ change: on ? "1" : null }); drawTools(); });
  const burns = burnsPanel(studio, viewer, portrait);
  const marks = marksPanel(studio, viewer, portrait, kept, keep);
  const masks = masksPanel(studio, viewer, portrait, kept, keep);
  const root = element("div", { class: "portrait", "data-page": "full" },
    element("div", { class: "looking" },
      element("h1", { class: "only-heard" }, portrait.name), tools, viewer.root, burns.hint, change.legend),
    element("div", { class: "doing", tabindex: "-1" }, status, people, marks.root, masks.root,
      NOTICES.map((one) => element("p", { class: "notice" }, say(`notice.${one}`)))));

  const at = portraits.findIndex((one) => one.id === id);
  const neighbour = (step) => portraits.slice(step < 0 ? 0 : at + 1, step < 0 ? at : undefined)
    .filter((one) => one.width).at(step < 0 ? -1 : 0);

  function drawTools() {
    const { view } = viewer;
    const radio = (name, value, now, text, set) =>
      element("button", { type: "button", role: "radio", "aria-checked": String(value === now),
        "data-key": `${name}:${value}`, onclick: () => set(value) }, text);
    const shown = viewer.zooms?.() ?? [null];
    refill(tools, [view.compare, view.zoom, change.on, shown, burns.brush()], () => [
      element("div", { role: "radiogroup", "aria-label": say("tools.compare") },
        ["after", "divider", "beside", "before"].map((one) =>
          radio("compare", one, view.compare, say(`compare.${one}`), (value) => viewer.setCompare(value)))),
      element("div", { role: "radiogroup", "aria-label": say("tools.size") },
        shown.map((zoom) => radio("zoom", zoom, view.zoom, zoom === null ? say("zoom.fit") : sayPercent(zoom),
          (value) => viewer.zoomTo(value)))),
      element("button", { type: "button", "aria-pressed": String(change.on), "data-key": "change",
        onclick: () => change.toggle() }, say("tools.change")),
      element("div", { class: "row", role: "group", "aria-label": say("burns") }, burns.tools())]);
  }
  burns.changed = () => {
    drawTools();
    drawPeople();
    viewer.redraw();
  };

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

  const personCard = (person, layers, names, failed) => {
    const face = element("img", { alt: "", width: 72, height: 72 });
    if (person.face) {
      pictures.into(face, `/v1/portraits/${id}/iiif/original/${faceRegion(person.face, portrait)}/!144,144/0/default.jpg`);
    }
    const own = inOrder(layers.filter((layer) => layer.person === person.id), (layer) => layer.step);
    return element("section", { class: "panel person", "aria-label": person.name ?? say("people.unnamed") },
      element("div", { class: "who" }, person.face && face, namingForm(studio, person, names)),
      agreedLine(studio, portrait.shoot_id, person),
      own.map((layer) => [strengthControl(layer, person.name), layer.step === "redness" && burns.of(person, layer, failed)]),
      person.agreed.length > 0 && !own.length && element("p", { class: "quiet" }, say("portrait.working")));
  };

  let cards = { found: [], layers: [], names: [] };
  const drawPeople = () => {
    const { found, layers, shown, names, failed } = cards;
    refill(people, [found, shown, names, failed, burns.said()], () => found.length
      ? found.map((person) => personCard(person, layers, names, failed))
      : element("p", { class: "empty" }, say("portrait.nobody")));
  };

  let layersBefore = "";
  const look = async () => {
    const askedAt = performance.now();
    const [now, found, layers, markList, everybody] = await Promise.all([
      service.get(`/v1/portraits/${id}`), service.get(`/v1/portraits/${id}/people`),
      service.get(`/v1/portraits/${id}/layers`), service.get(`/v1/portraits/${id}/marks`),
      service.get(`/v1/shoots/${portrait.shoot_id}/people`)]);
    if (isMoved(root)) return;
    const failed = await burns.failure(found, layers);
    if (!burns.holds(askedAt)) return;
    refill(status, [now.state], () => [element("strong", {}, portrait.name), stateSign(now.state),
      element("span", { class: "row" }, [-1, 1].map((step) => {
        const next = neighbour(step);
        return element("a", { class: "button", "aria-disabled": next ? null : "true", href: next ? `#/portrait/${next.id}` : null,
          "data-key": `go:${step}` }, say(step < 0 ? "portrait.previous" : "portrait.next"));
      }))]);
    const names = [...new Set(everybody.map(({ person }) => person.name).filter(Boolean))].sort();
    const shown = layers.map(({ id: layer, person, step, strength, sha256 }) => [layer, person, step, strength, sha256]);
    burns.show(found, layers);
    cards = { found, layers, shown, names, failed };
    drawPeople();
    const key = JSON.stringify(shown);
    if (key !== layersBefore) {
      layersBefore = key;
      viewer.setLayers(layers);
      change.look();
    }
    marks.show(markList, found);
    masks.show(found, now.state === "working");
    root.dataset.state = now.state;
  };

  const key = (event) => {
    if (event.target.matches("input[type=range], [role=slider]") && event.key.startsWith("Arrow")) return false;
    if (burns.key(event) || masks.key(event) || viewer.key(event)) return true;
    if (["<", ",", "PageUp"].includes(event.key) || [">", ".", "PageDown"].includes(event.key)) {
      const next = neighbour(["<", ",", "PageUp"].includes(event.key) ? -1 : 1);
      if (next) studio.go(`/portrait/${next.id}`);
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

  const showColours = async () => {
    const colours = await service.get(`/v1/portraits/${id}/display-colours`);
    viewer.setColours(colours.kind === "same" ? null : colours);
  };
  drawTools();
  await Promise.all([look(), showColours()]);
  return {
    root, look, key, refresh: burns.refresh, title: portrait.name, crumbs: crumbs(shoot, portrait.name),
    shown: () => { studio.viewer = viewer; window.evenhandViewer = viewer; },
    stop: () => {
      removeEventListener("keyup", keyUp);
      removeEventListener("blur", letGo);
      viewer.stop();
      pictures.stop();
    },
  };
}
