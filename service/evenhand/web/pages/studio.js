// The photographer's page: which view is shown is said by the address behind the hash.

import { element, fill, icon } from "./element.js";
import { Service } from "./service.js";
import { contactSheet } from "./studio/contact_sheet.js";
import { portraitView } from "./studio/portrait.js";
import { peopleView } from "./studio/people.js";
import { proofsView } from "./studio/proofs.js";
import { shootsView } from "./studio/shoots.js";
import { signIn } from "./studio/sign_in.js";
import { tonesView } from "./studio/tones.js";
import { showKeys } from "./studio/keys.js";
import { Deeds } from "./undo.js";
import { Previews } from "./studio/previews.js";
import { Uploads } from "./uploads.js";
import { languageControl, loadWords, say } from "./words.js";

const TOKEN = "evenhand.token";
const LOOK_EVERY_MS = 2000; // how often a view looks what is new
const NEWS_MS = 6000; // how long news stay

const VIEWS = [
  [/^\/$/, shootsView],
  [/^\/shoot\/([0-9a-f]{32})$/, contactSheet],
  [/^\/shoot\/([0-9a-f]{32})\/people$/, peopleView],
  [/^\/shoot\/([0-9a-f]{32})\/proofs$/, proofsView],
  [/^\/shoot\/([0-9a-f]{32})\/tones$/, tonesView],
  [/^\/portrait\/([0-9a-f]{32})$/, portraitView],
];

class Studio {
  constructor() {
    this.service = new Service(() => localStorage.getItem(TOKEN));
    this.previews = new Previews(this.service);
    this.shoots = new Map(); // the last shoot that was looked at, so that its next portrait opens at once
    this.others = new BroadcastChannel("evenhand.studio");
    this.others.onmessage = () => this.lookAgain();
    this.uploads = new Uploads(this.service);
    this.uploads.addEventListener("change", () => this.view?.uploads?.());
    this.deeds = null; // what was done to the open portrait, and only to it
  }

  async begin() {
    await loadWords();
    addEventListener("hashchange", () => this.show());
    addEventListener("storage", (event) => event.key === TOKEN && this.show());
    addEventListener("keydown", (event) => this.#key(event));
    document.addEventListener("visibilitychange", () => this.lookAgain());
    setInterval(() => this.lookAgain(), LOOK_EVERY_MS);
    if (localStorage.getItem(TOKEN)) this.uploads.begin();
    await this.show();
  }

  /** Where we are: the path and what is kept with it. */
  place() {
    const [path, kept] = location.hash.slice(1).split("?");
    return { path: path || "/", kept: Object.fromEntries(new URLSearchParams(kept)) };
  }

  /** Keep something with the address, so that reload and back find it; no step in the history. */
  keep(kept) {
    const { path } = this.place();
    const query = new URLSearchParams(kept).toString();
    history.replaceState(null, "", `#${path}${query ? `?${query}` : ""}`);
  }

  go(path) {
    location.hash = path;
  }

  async show() {
    const { path, kept } = this.place();
    this.view?.stop?.();
    this.view = this.deeds = null;
    const number = (this.number = (this.number ?? 0) + 1);
    const main = document.getElementById("main");
    if (!localStorage.getItem(TOKEN)) return this.#drawBar(), signIn(this, main);
    const [match, make] = VIEWS.map(([pattern, view]) => [pattern.exec(path), view]).find(([found]) => found) ?? [];
    if (!match) return this.go("/");
    try {
      const view = await make(this, match, kept);
      if (number !== this.number) return view.stop?.();
      this.view = view;
      this.deeds = view.portrait
        ? new Deeds(`portrait.${view.portrait}`, (request, made) => this.#request(request, made), () => this.#drawBar()) : null;
      fill(main, view.root);
      main.className = view.root.dataset.page ?? "";
      document.title = `${view.title} · Evenhand`;
      this.#drawBar();
      view.shown?.();
      if (number > 1) main.focus({ preventScroll: true });
    } catch (error) {
      if (error.status === 401) return this.signOut();
      if (number !== this.number) return;
      main.className = "narrow";
      fill(main, element("div", { class: "failed" }, element("p", { class: "wrong" }, error.message),
        element("div", { class: "row" },
          element("button", { type: "button", class: "main", onclick: () => this.show() }, say("trouble.again")),
          element("a", { class: "button", href: "#/" }, say("shoots.all")))));
      if (!error.status && error.status !== 0) throw error;
    }
  }

  async lookAgain() {
    if (document.hidden || this.looking || !this.view?.look) return;
    this.looking = true;
    try {
      await this.view.look();
      this.trouble("");
    } catch (error) {
      if (error.status === 401) this.signOut();
      else if (error.name !== "AbortError") this.trouble(error.message);
    } finally {
      this.looking = false;
    }
  }

  signIn(token) {
    localStorage.setItem(TOKEN, token);
    this.uploads.begin();
    this.show();
  }

  signOut() {
    localStorage.removeItem(TOKEN);
    this.show();
  }

  /** Do something to the open portrait that can be undone, and let every tab see it. */
  async do(deed) {
    try {
      await this.deeds.do(deed);
    } catch (error) {
      this.trouble(error.message);
      await this.lookAgain();
      return false;
    }
    this.changed();
    return true;
  }

  async undo(again = false) {
    if (!this.deeds) return;
    try {
      const deed = await (again ? this.deeds.redo() : this.deeds.undo());
      if (deed) this.news(say(again ? "undo.again" : "undo.undone", { what: deed.label }));
    } catch (error) {
      this.trouble(error.message);
    }
    this.changed();
  }

  /** Something was changed: look again, here and in other tabs. */
  changed() {
    this.others.postMessage("changed");
    this.view?.refresh?.();
    return this.lookAgain();
  }

  news(text) {
    const place = document.getElementById("news");
    place.textContent = text;
    clearTimeout(this.newsGoes);
    this.newsGoes = setTimeout(() => (place.textContent = ""), NEWS_MS);
  }

  trouble(text) {
    const place = document.getElementById("trouble");
    if (place.textContent !== text) place.textContent = text;
  }

  async #request(request, made) {
    const path = (await this.#markPath(request.mark)) ?? request.path.replace("{made}", made);
    const body = request.png ? bytesOf(request.png) : undefined;
    const response = await this.service.ask(request.method, path, { json: request.json, body });
    return response.status === 204 ? null : response.json();
  }

  /** Path of a mark by its number: it gets a new identifier whenever layers are computed anew. */
  async #markPath(mark) {
    if (!mark) return null;
    const marks = await this.service.get(`/v1/portraits/${mark.portrait}/marks`);
    const found = marks.find((one) => one.person === mark.person && one.number === mark.number);
    return found ? `/v1/marks/${found.id}` : null;
  }

  #drawBar() {
    const signedIn = Boolean(localStorage.getItem(TOKEN));
    const bar = document.getElementById("bar");
    const last = this.deeds?.done.at(-1), next = this.deeds?.undone.at(-1);
    const held = bar.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    fill(bar,
      element("a", { class: "name", href: "#/" }, element("img", { src: "/pages/mark.svg", alt: "", width: 24, height: 24 }), "Evenhand"),
      element("nav", { "aria-label": say("bar.where") }, this.view?.crumbs ?? []),
      this.deeds && element("button", { type: "button", class: "bare", "data-key": "undo", disabled: !last,
        title: last ? say("undo.what", { what: last.label }) : say("undo.nothing"), onclick: () => this.undo() }, icon("undo"), element("span", { class: "word" }, say("undo"))),
      this.deeds && element("button", { type: "button", class: "bare", "data-key": "redo", disabled: !next,
        title: next ? say("undo.what-again", { what: next.label }) : say("undo.nothing"), onclick: () => this.undo(true) }, icon("redo"), element("span", { class: "word" }, say("redo"))),
      element("button", { type: "button", class: "bare", onclick: () => showKeys() }, icon("keys"), element("span", { class: "word" }, say("keys"))),
      languageControl(element),
      signedIn && element("button", { type: "button", class: "bare", onclick: () => this.signOut() }, icon("leave"), element("span", { class: "word" }, say("sign-out"))));
    if (held) bar.querySelector(`[data-key="${held}"]`)?.focus();
  }

  #key(event) {
    if (document.querySelector("dialog[open]")) return;
    const writing = event.target.matches?.("input:not([type=checkbox],[type=radio],[type=range]), textarea, select");
    const held = event.ctrlKey || event.metaKey;
    if (held && !writing && event.key.toLowerCase() === "z") {
      event.preventDefault();
      this.undo(event.shiftKey);
    } else if (held && !writing && event.key.toLowerCase() === "y") {
      event.preventDefault();
      this.undo(true);
    } else if (!held && !event.altKey && !writing) {
      if (event.key === "?" || event.key === "F1") showKeys();
      else if (!this.view?.key?.(event)) return;
      event.preventDefault();
    }
  }
}

/** The bytes of a data: address, without a request. */
function bytesOf(address) {
  const [head, data] = address.split(",");
  const bytes = Uint8Array.from(atob(data), (letter) => letter.charCodeAt(0));
  return new Blob([bytes], { type: head.slice(5).split(";")[0] });
}

new Studio().begin();
