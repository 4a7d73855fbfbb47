// The portraits of a shoot as a contact sheet with their states; photographs are dropped here,
// chosen, starred, sorted, deleted and brought back.

import { arrange, element, fill, icon, refill } from "../element.js";
import { droppedFiles } from "../uploads.js";
import { say, sayList, sayPercent } from "../words.js";
import { ask, crumbs, Pictures, stateSign, tabs } from "./parts.js";
import { proofDialog } from "./proof_dialog.js";
import { strengthsDialog } from "./strengths_dialog.js";

const THUMB = 480; // longer side asked for, pixels
const FORMATS = "image/*,.tif,.tiff,.heic,.heif,.avif,.dng,.cr2,.cr3,.nef,.arw,.raf,.orf,.rw2";
const MOST_STARS = 5;
const SORTS = {
  came: () => 0,
  name: (one, other) => one.name.localeCompare(other.name, undefined, { numeric: true }),
  stars: (one, other) => other.stars - one.stars,
  state: (one, other) => STATES.indexOf(one.state) - STATES.indexOf(other.state),
};
const STATES = ["unreadable", "new", "to name", "to ask", "working", "to review", "with the client", "change asked for",
                "stale", "signed"];
const BEING_WORKED_ON = ["new", "working"];

export async function contactSheet(studio, [, id], kept) {
  const shoot = await studio.service.get(`/v1/shoots/${id}`);
  const pictures = new Pictures(studio.service);
  const chosen = new Set((kept.chosen ?? "").split(".").filter(Boolean));
  const view = { sort: kept.sort in SORTS ? kept.sort : "came", state: kept.state ?? "", name: kept.name ?? "", stars: Number(kept.stars ?? 0) };
  let portraits = [], found = [], removed = [], failed = new Map(), asked = new Set(), lastPicked = null;

  const grid = element("ul", { class: "sheet", "aria-label": say("tabs.sheet") });
  const next = element("div", { class: "next", role: "status" });
  const sending = element("ul", { class: "sending", "aria-label": say("sheet.sending") });
  const filters = element("div", { class: "row filters" });
  const chosenRow = element("div", { class: "row chosen" });
  const bin = element("section", { class: "bin" });
  const files = element("input", { type: "file", multiple: true, class: "only-heard", id: "files", tabindex: "-1",
    "aria-hidden": "true", accept: FORMATS, onchange: () => add(files) });
  const folder = element("input", { type: "file", webkitdirectory: true, class: "only-heard", id: "folder",
    tabindex: "-1", "aria-hidden": "true", onchange: () => add(folder) });
  const drop = element("section", { class: "drop", "aria-label": say("sheet.add") },
    element("p", {}, say("sheet.drop"), " ", element("span", { class: "quiet" }, say("sheet.formats"))),
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
    element("h1", {}, shoot.name), tabs(shoot, "sheet"), next, filters, chosenRow, grid, drop, sending, bin);

  const keep = () => studio.keep({
    ...(chosen.size ? { chosen: [...chosen].join(".") } : {}), ...(view.sort === "came" ? {} : { sort: view.sort }),
    ...(view.state ? { state: view.state } : {}), ...(view.name ? { name: view.name } : {}), ...(view.stars ? { stars: view.stars } : {}) });

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

  const send = async (method, path, json) => {
    try {
      await studio.service.ask(method, path, { json });
    } catch (error) {
      studio.trouble(error.message);
    }
    return studio.changed();
  };

  /** The portraits that are shown, in the order in which they are. */
  const shown = () => {
    const named = view.name && new Set(found.filter(({ person }) => person.name === view.name).map((one) => one.portrait));
    return portraits.filter((one) => (!view.state || one.state === view.state) && (!named || named.has(one.id)) && one.stars >= view.stars)
      .sort(SORTS[view.sort]);
  };

  const picked = () => portraits.filter((portrait) => chosen.has(portrait.id));

  /** Choose a portrait, or with Shift all from the last one that was chosen. */
  const choose = (portrait, on, range) => {
    const order = shown().map((one) => one.id), from = order.indexOf(lastPicked), to = order.indexOf(portrait);
    const all = range && from >= 0 ? order.slice(Math.min(from, to), Math.max(from, to) + 1) : [portrait];
    for (const one of all) chosen[on ? "add" : "delete"](one);
    lastPicked = portrait;
    keep();
    draw();
  };

  const chooseAll = (on) => {
    for (const portrait of shown()) chosen[on ? "add" : "delete"](portrait.id);
    keep();
    draw();
  };

  const giveStars = (ids, stars) => send("PUT", `/v1/shoots/${id}/stars`, { portraits: ids, stars });

  const remove = (ids, away = true) => {
    for (const one of ids) chosen.delete(one);
    keep();
    return send("PUT", `/v1/shoots/${id}/removed`, { portraits: ids, removed: away });
  };

  const removeForGood = async (ids) => {
    if (!(await ask(say("bin.sure", { count: ids.length }), say("bin.for-good")))) return;
    for (const one of ids) await send("DELETE", `/v1/portraits/${one}`);
  };

  /** What is to be done next in the shoot, and how far what is being done is. */
  const drawNext = () => {
    const count = (...states) => portraits.filter((one) => states.includes(one.state) && !failed.has(one.id)).length;
    const unnamed = found.filter(({ person }) => !person.name).length;
    const unasked = new Set(found.map(({ person }) => person.name).filter((name) => name && !asked.has(name))).size;
    const ready = portraits.filter((one) => one.state === "to review");
    const of = portraits.filter((one) => one.state !== "unreadable").length;
    const states = new Map();
    for (const { state } of portraits) states.set(state, (states.get(state) ?? 0) + 1);
    const facts = [unnamed, unasked, ready.map((one) => one.id), of, count("new"), count("working"), [...states], [...failed.keys()]];
    refill(next, facts, () => [
      element("p", { class: "states" }, STATES.filter((state) => states.has(state)).map((state) =>
        [stateSign(state), element("span", { class: "number" }, String(states.get(state)))])),
      count("new") > 0 && busy("sheet.finding", of - count("new"), of),
      count("working") > 0 && busy("sheet.retouching", of - count(...BEING_WORKED_ON), of),
      unnamed > 0 ? element("a", { class: "button", "data-key": "next", href: `#/shoot/${id}/people` }, icon("to-name"), say("sheet.name", { count: unnamed }))
        : unasked > 0 ? element("a", { class: "button", "data-key": "next", href: `#/shoot/${id}/people` }, icon("to-ask"), say("sheet.ask", { count: unasked })) : null]);
    next.hidden = !portraits.length;
  };

  const busy = (word, done, of) => element("div", { class: "busy" },
    element("span", {}, say(word, { done: Math.min(of, done + 1), of })),
    element("progress", { max: of, value: done, "aria-label": say(word, { done: Math.min(of, done + 1), of }) }));

  const select = (word, values, now, set) => element("label", { class: "choice" }, element("span", {}, say(word)),
    element("select", { "data-key": word, onchange: (event) => { set(event.target.value); keep(); draw(); } },
      values.map(([value, text]) => element("option", { value, selected: value === String(now) }, text))));

  const drawFilters = () => {
    const names = [...new Set(found.map(({ person }) => person.name).filter(Boolean))].sort();
    const states = STATES.filter((state) => portraits.some((one) => one.state === state));
    filters.hidden = portraits.length < 2;
    refill(filters, [names, states, view], () => [
      select("sheet.sort", Object.keys(SORTS).map((one) => [one, say(`sheet.sort.${one}`)]), view.sort, (value) => { view.sort = value; }),
      select("sheet.only-state", [["", say("sheet.every")], ...states.map((one) => [one, say(`state.${one}`)])], view.state, (value) => { view.state = value; }),
      names.length > 0 && select("sheet.only-name", [["", say("sheet.everybody")], ...names.map((one) => [one, one])], view.name, (value) => { view.name = value; }),
      select("sheet.only-stars", [["0", say("sheet.every")], ...[1, 2, 3, 4, 5].map((n) => [String(n), say("sheet.stars-from", { count: n })])],
        view.stars, (value) => { view.stars = Number(value); })]);
  };

  const drawChosen = () => {
    const now = picked(), all = shown(), ids = now.map((one) => one.id);
    const on = all.some((one) => !chosen.has(one.id));
    chosenRow.hidden = !portraits.length;
    refill(chosenRow, [ids, on, all.length, now.map((one) => [one.state, one.stars]), portraits.length], () => [
      element("button", { type: "button", class: "main", "data-key": "proof", onclick: () => proofDialog(studio, shoot, now.length ? now : all) },
        say(now.length ? "sheet.proof" : "sheet.proof-all", { count: now.length || all.length })),
      element("button", { type: "button", "data-key": "strengths", onclick: () => strengthsDialog(studio, shoot, { portraits: now.length ? now : all }) },
        say("sheet.strengths")),
      element("button", { type: "button", "data-key": "all", onclick: () => chooseAll(on) }, say(on ? "sheet.choose-all" : "sheet.choose-none")),
      now.length > 0 && [element("span", { role: "status" }, say("sheet.chosen", { count: now.length })),
        starsControl(Math.min(...now.map((one) => one.stars)), say("sheet.stars-of", { name: say("sheet.chosen", { count: now.length }) }), "chosen",
          (stars) => giveStars(ids, stars)),
        element("button", { type: "button", "data-key": "remove", onclick: () => remove(ids) }, icon("bin"), say("sheet.remove"))]]);
  };

  const drawBin = () => refill(bin, removed.map((one) => one.id), () => removed.length ? [
    element("h2", {}, say("bin")), element("p", { class: "quiet" }, say("bin.how")),
    element("div", { class: "row" }, element("span", {}, sayList(removed.map((one) => one.name))),
      element("button", { type: "button", "data-key": "bring-back", onclick: () => remove(removed.map((one) => one.id), false) }, icon("undo"), say("bin.bring-back", { count: removed.length })),
      element("button", { type: "button", class: "quiet", "data-key": "for-good", onclick: () => removeForGood(removed.map((one) => one.id)) }, say("bin.for-good")))] : []);

  const item = (portrait) => {
    const image = element("img", { alt: "", loading: "lazy", width: 4, height: 5 });
    const read = portrait.width && !portrait.trouble;
    if (read) {
      Object.assign(image, { width: portrait.width, height: portrait.height });
      pictures.into(image, `/v1/portraits/${portrait.id}/preview?side=${THUMB}`, `${portrait.id}:${portrait.state}`);
    }
    const job = failed.get(portrait.id);
    return element("li", { data: { state: portrait.state }, class: chosen.has(portrait.id) ? "picked" : null },
      element("a", { href: read ? `#/portrait/${portrait.id}` : null, "data-key": portrait.id },
        element("span", { class: "frame" }, read ? image : portrait.trouble ? icon("unreadable") : icon("working")),
        element("span", { class: "title" }, portrait.name), job ? null : stateSign(portrait.state)),
      portrait.trouble && element("p", { class: "wrong" }, portrait.trouble),
      job && element("p", { class: "wrong" }, say("sheet.failed"), " ",
        element("button", { type: "button", class: "quiet", "data-key": `retry:${portrait.id}`,
          onclick: () => send("POST", `/v1/jobs/${job.id}/retry`) }, say("burns.retry"))),
      starsControl(portrait.stars, say("sheet.stars-of", { name: portrait.name }), portrait.id, (stars) => giveStars([portrait.id], stars)),
      element("label", { class: "pick" },
        element("input", { type: "checkbox", checked: chosen.has(portrait.id), "data-key": `pick:${portrait.id}`,
          onclick: (event) => choose(portrait.id, event.target.checked, event.shiftKey) }),
        element("span", { class: "only-heard" }, say("sheet.choose", { name: portrait.name }))));
  };

  const draw = () => {
    const all = shown();
    grid.classList.toggle("choosing", chosen.size > 0);
    if (!all.length) {
      refill(grid, [portraits.length], () => element("li", { class: "empty" }, portraits.length ? say("sheet.none-such")
        : [element("strong", {}, say("sheet.none")), say("sheet.begin")]));
    } else {
      delete grid.madeFrom;
      arrange(grid, all.map((one) => ({ key: one.id, make: () => item(one),
        facts: [one.name, one.state, one.stars, one.trouble, one.width, chosen.has(one.id), failed.get(one.id)?.id] })));
    }
    drawNext();
    drawFilters();
    drawChosen();
    drawBin();
  };

  const look = async () => {
    const get = (what) => studio.service.get(`/v1/shoots/${id}/${what}`);
    const [now, everybody, away, jobs, permissions] =
      await Promise.all(["portraits", "people", "portraits?removed=true", "jobs", "permissions"].map(get));
    asked = new Set(permissions.said.map((one) => one.name));
    [portraits, found, removed] = [now, everybody, away];
    studio.shoots = new Map(now.map((one) => [one.id, { portrait: one, shoot, portraits: now }]));
    const last = new Map();
    for (const job of jobs) if (job.kind === "compute layers" && !last.has(job.portrait_id)) last.set(job.portrait_id, job);
    failed = new Map(portraits.filter((one) => one.state === "working" && last.get(one.id)?.state === "failed").map((one) => [one.id, last.get(one.id)]));
    for (const one of chosen) if (!portraits.some((portrait) => portrait.id === one)) chosen.delete(one);
    draw();
  };

  const key = (event) => {
    const links = [...grid.querySelectorAll("a[href]")];
    const at = links.indexOf(document.activeElement);
    const across = links.length > 1 ? links.filter((link) => link.closest("li").offsetTop === links[0].closest("li").offsetTop).length : 1;
    const moves = { ArrowRight: 1, ArrowLeft: -1, ArrowDown: across, ArrowUp: -across };
    if (event.key in moves && links.length && !event.target.closest("[role=radiogroup]")) {
      links[Math.min(links.length - 1, Math.max(0, at < 0 ? 0 : at + moves[event.key]))].focus();
    } else if (event.key === " " && at >= 0) {
      links[at].closest("li").querySelector("input").click();
    } else if (/^[0-5]$/.test(event.key) && at >= 0) {
      giveStars([links[at].dataset.key], Number(event.key));
    } else if (event.key === "Delete" && chosen.size) {
      remove([...chosen]);
    } else return false;
    return true;
  };

  await look();
  uploads();
  return { root, look, uploads, key, title: shoot.name, crumbs: crumbs(shoot, say("tabs.sheet")), stop: () => pictures.stop() };
}

/** Five stars, of which some are given; a click on the last one given takes it back. */
function starsControl(stars, label, key, give) {
  return element("span", { class: "stars", role: "group", "aria-label": label },
    Array.from({ length: MOST_STARS }, (_, k) =>
      element("button", { type: "button", class: "bare", "aria-pressed": String(k < stars), "data-key": `star:${key}:${k + 1}`,
        "aria-label": say("sheet.star", { count: k + 1 }), onclick: () => give(stars === k + 1 ? k : k + 1) },
        icon(k < stars ? "star-full" : "star"))));
}
