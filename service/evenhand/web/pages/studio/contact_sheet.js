// The portraits of a shoot as a contact sheet with their states; photographs are dropped here.

import { element, fill, refill } from "../element.js";
import { droppedFiles } from "../uploads.js";
import { say, sayPercent } from "../words.js";
import { ask, crumbs, Pictures, stateSign, tabs } from "./parts.js";
import { proofDialog } from "./proof_dialog.js";

const THUMB = 320; // longer side asked for, pixels
const UNDO_MS = 8000; // how long deleting can be called off

export async function contactSheet(studio, [, id], kept) {
  const shoot = await studio.service.get(`/v1/shoots/${id}`);
  const pictures = new Pictures(studio.service);
  const chosen = new Set((kept.chosen ?? "").split(".").filter(Boolean));
  const leaving = new Map(); // portraits about to be deleted, with the timer that does it
  let portraits = [];

  const grid = element("ul", { class: "sheet", "aria-label": say("tabs.sheet") });
  const counts = element("p", { class: "quiet", role: "status" });
  const sending = element("ul", { class: "sending", "aria-label": say("sheet.sending") });
  const chosenRow = element("div", { class: "row chosen" });
  const files = element("input", { type: "file", multiple: true, class: "only-heard", id: "files", tabindex: "-1",
    "aria-hidden": "true", accept: "image/*,.tif,.tiff,.heic,.heif,.avif,.dng,.cr2,.cr3,.nef,.arw,.raf,.orf,.rw2",
    onchange: () => add(files) });
  const folder = element("input", { type: "file", webkitdirectory: true, class: "only-heard", id: "folder",
    tabindex: "-1", "aria-hidden": "true", onchange: () => add(folder) });
  const drop = element("section", { class: "drop", "aria-label": say("sheet.add") },
    element("p", {}, say("sheet.drop")),
    element("button", { type: "button", onclick: () => files.click() }, say("sheet.files")),
    element("button", { type: "button", onclick: () => folder.click() }, say("sheet.folder")), files, folder);
  const root = element("div", { class: "shoot", "data-page": "wide",
    ondragover: (event) => { event.preventDefault(); root.classList.add("over"); },
    ondragleave: (event) => event.target === root && root.classList.remove("over"),
    ondrop: async (event) => {
      event.preventDefault();
      root.classList.remove("over");
      await studio.uploads.add(id, await droppedFiles(event.dataTransfer));
    } },
    element("h1", {}, shoot.name), tabs(shoot, "sheet"), drop, sending, counts, chosenRow, grid);

  const add = async (input) => {
    await studio.uploads.add(id, input.files);
    input.value = "";
  };

  const uploads = () => {
    const list = studio.uploads.of(id);
    if (list.some((upload) => upload.state === "done")) {
      for (const upload of list.filter((one) => one.state === "done")) studio.uploads.drop(upload.id);
      studio.changed();
    }
    fill(sending, list.filter((upload) => upload.state !== "done").map((upload) =>
      element("li", {},
        element("span", {}, upload.name),
        element("progress", { max: upload.size, value: upload.sent, "aria-label": say("sheet.sent", { name: upload.name }) }),
        element("span", { class: "quiet" }, upload.trouble ?? sayPercent(upload.sent / upload.size)),
        element("button", { type: "button", onclick: () => studio.uploads.drop(upload.id) },
          say(upload.state === "failed" ? "sheet.dismiss" : "sheet.stop")))));
  };

  const choose = (portrait, on) => {
    chosen[on ? "add" : "delete"](portrait);
    studio.keep(chosen.size ? { chosen: [...chosen].join(".") } : {});
    drawChosen();
  };

  const drawChosen = () => {
    const picked = portraits.filter((portrait) => chosen.has(portrait.id));
    fill(chosenRow,
      element("button", { type: "button", "data-key": "all", onclick: () => {
        const on = picked.length < portraits.length;
        for (const portrait of portraits) chosen[on ? "add" : "delete"](portrait.id);
        studio.keep(chosen.size ? { chosen: [...chosen].join(".") } : {});
        for (const box of grid.querySelectorAll("input")) box.checked = on;
        drawChosen();
      } }, say(picked.length < portraits.length ? "sheet.choose-all" : "sheet.choose-none")),
      element("span", {}, say("sheet.chosen", { count: picked.length })),
      element("button", { type: "button", class: "main", disabled: !picked.length,
        onclick: () => proofDialog(studio, shoot, picked) }, say("sheet.proof")),
      element("button", { type: "button", disabled: !picked.length, onclick: () => remove(picked) }, say("sheet.remove")));
  };

  /** Delete after a moment in which it can be called off; a deleted photograph does not come back. */
  const remove = async (picked) => {
    if (!(await ask(say("sheet.remove-sure", { count: picked.length }), say("sheet.remove")))) return;
    for (const portrait of picked) {
      leaving.set(portrait.id, setTimeout(async () => {
        leaving.delete(portrait.id);
        chosen.delete(portrait.id);
        await studio.service.remove(`/v1/portraits/${portrait.id}`).catch((error) => studio.trouble(error.message));
        studio.changed();
      }, UNDO_MS));
    }
    draw();
  };

  const item = (portrait) => {
    const image = element("img", { alt: "", loading: "lazy", width: 4, height: 5 });
    const read = portrait.width && !portrait.trouble;
    if (read) {
      Object.assign(image, { width: portrait.width, height: portrait.height });
      pictures.into(image, `/v1/portraits/${portrait.id}/preview?side=${THUMB}`, `${portrait.id}:${portrait.state}:${portrait.seen}`);
    }
    if (leaving.has(portrait.id)) {
      return element("li", { class: "leaving" }, element("p", {}, say("sheet.leaving", { name: portrait.name })),
        element("button", { type: "button", "data-key": `back:${portrait.id}`, onclick: () => {
          clearTimeout(leaving.get(portrait.id));
          leaving.delete(portrait.id);
          draw();
        } }, say("undo")));
    }
    return element("li", { data: { state: portrait.state } },
      element("a", { href: read ? `#/portrait/${portrait.id}` : null, "data-key": portrait.id },
        element("span", { class: "frame" }, read ? image : element("span", { class: "blank" }, "…")),
        element("span", { class: "title" }, portrait.name), stateSign(portrait.state)),
      portrait.trouble && element("p", { class: "wrong" }, portrait.trouble),
      element("label", { class: "pick" },
        element("input", { type: "checkbox", checked: chosen.has(portrait.id), "data-key": `pick:${portrait.id}`,
          onchange: (event) => choose(portrait.id, event.target.checked) }),
        element("span", { class: "only-heard" }, say("sheet.choose", { name: portrait.name }))));
  };

  const draw = () => {
    const facts = [portraits, [...leaving.keys()]];
    refill(grid, facts, () => portraits.length ? portraits.map(item)
      : element("li", { class: "empty" }, say("sheet.none")));
    const states = new Map();
    for (const { state } of portraits) states.set(state, (states.get(state) ?? 0) + 1);
    const text = [...states].map(([state, count]) => `${count} ${say(`state.${state}`)}`).join(" · ");
    if (counts.textContent !== text) counts.textContent = text;
    drawChosen();
  };

  const seen = new Map(); // thumbs are asked for again after something was changed here
  const look = async () => {
    portraits = (await studio.service.get(`/v1/shoots/${id}/portraits`))
      .map((portrait) => ({ ...portrait, seen: seen.get(portrait.id) ?? 0 }));
    draw();
  };

  const key = (event) => {
    const links = [...grid.querySelectorAll("a[href]")];
    const at = links.indexOf(document.activeElement);
    const across = links.length > 1 ? links.filter((link) => link.offsetTop === links[0].offsetTop).length : 1;
    const moves = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: across, ArrowUp: -across };
    if (event.key in moves && links.length) {
      links[Math.min(links.length - 1, Math.max(0, at < 0 ? 0 : at + moves[event.key]))].focus();
    } else if (event.key === " " && at >= 0) {
      const box = links[at].closest("li").querySelector("input");
      box.click();
    } else return false;
    return true;
  };

  await look();
  uploads();
  return { root, look, uploads, key, title: shoot.name, crumbs: crumbs(shoot, say("tabs.sheet")),
           stop: () => { pictures.stop(); for (const timer of leaving.values()) clearTimeout(timer); } };
}
