// The client's page: look, compare, choose how much, approve the picture or ask for a change.

import { applied, sayApplied, sayTrouble, shareIs, standingOf } from "./client/told.js";
import { approveForm, askForm } from "./client/decision.js";
import { morePanel, spotCard } from "./client/more.js";
import { Pictures } from "./client/pictures.js";
import { Stage } from "./client/stage.js";
import { Strip } from "./client/strip.js";
import { letterhead } from "./client/letterhead.js";
import { element, fill, icon, refill } from "./element.js";
import { Service } from "./service.js";
import { loadWords, say, sayDate, sayPercent } from "./words.js";

const LOOK_EVERY_MS = 2500; // how often the page looks what is new
const NEWS_MS = 6000; // how long news stay
const SHORT = 60; // letters of a message that are shown whole on a phone; a longer one is unfolded
const RETRY_MS = 3000; // after which a picture that did not come is asked for again

const [token] = location.hash.slice(1).split("&");
const service = new Service(() => token);

class Proof {
  constructor() {
    this.at = this.#said();
    this.mode = { name: "choose" };
    this.pictures = new Pictures(service);
    this.channel = new BroadcastChannel("evenhand.proof");
    this.channel.onmessage = () => this.look();
    addEventListener("hashchange", () => location.hash.slice(1).split("&")[0] !== token ? location.reload() : this.#gone());
    addEventListener("storage", () => this.draw());
    addEventListener("resize", () => this.#showPictures());
    addEventListener("keydown", (event) => this.#key(event));
    addEventListener("keyup", (event) => event.key.toLowerCase() === "b" && this.stage.holding(false));
  }

  async begin() {
    await loadWords("client");
    this.stage = new Stage({ tapped: (place, room) => this.#tapped(place, room), stepped: (by) => this.go(this.at + by),
      enlarged: () => this.#showPictures() });
    this.strip = new Strip(this.pictures, (k) => `#${token}&p=${k + 1}`);
    this.main = document.getElementById("main");
    this.bar = letterhead(service, document.getElementById("bar"), "h1");
    this.what = element("div", { class: "what" });
    this.decide = element("div", { class: "decide" });
    this.status = element("div", { class: "standing", role: "status" });
    this.parts = Object.fromEntries(["message", "card", "choices", "shown", "more"].map((name) => [name, element("div", { class: `part ${name}` })]));
    fill(this.what, this.parts.message, this.status, this.parts.card, this.parts.choices, this.parts.shown, this.parts.more);
    fill(this.main, element("p", { class: "waits" }, icon("working"), say("client.coming")));
    await this.look();
    setInterval(() => !document.hidden && this.look(), LOOK_EVERY_MS);
  }

  async look() {
    if (this.looking || this.closed) return;
    this.looking = true;
    try {
      this.proof = await service.get("/v1/proof");
      this.trouble("");
    } catch (error) {
      if ([401, 403].includes(error.status) || !token) this.#close();
      else this.trouble(sayTrouble(error));
      return;
    } finally {
      this.looking = false;
    }
    this.draw();
  }

  get portrait() {
    return this.proof.portraits[Math.min(this.proof.portraits.length - 1, Math.max(0, this.at))];
  }

  // What the client is about to say is kept in the browser until it is sent.
  kept(portrait = this.portrait) {
    return { choices: {}, words: "", places: [], ...JSON.parse(localStorage.getItem(`evenhand.proof.${portrait.id}`) ?? "{}") };
  }

  keep(more, portrait = this.portrait) {
    localStorage.setItem(`evenhand.proof.${portrait.id}`, JSON.stringify({ ...this.kept(portrait), ...more }));
  }

  choiceOf(portrait, person, step) {
    const kept = this.kept(portrait);
    const own = kept.choices[`${person}.${step}`] ?? kept.strength;
    if (own !== undefined && this.proof.strengths.includes(own)) return own;
    const signed = portrait.sign_off?.choices.find((choice) => choice.person === person && choice.step === step);
    return signed?.strength ?? this.proof.strengths.at(-1);
  }

  choices(portrait = this.portrait) {
    return portrait.people.flatMap((person) => person.steps.map((step) =>
      ({ person: person.id, step, strength: this.choiceOf(portrait, person.id, step) })));
  }

  choose(change) {
    this.keep(change);
    this.draw();
  }

  go(at) {
    if (at >= 0 && at < this.proof.portraits.length) location.hash = `${token}&p=${at + 1}`;
  }

  /** Turn to choosing, approving, asking for a change, or a spot. */
  turn(mode) {
    this.mode = mode;
    if (mode.name === "approve") this.stage.setCompare(0);
    this.madeFor = null;
    this.draw();
    const first = this.parts.card.querySelector("[data-first]") ?? (mode.from && this.decide.querySelector(`[data-key="${mode.from}"]`));
    first?.focus({ preventScroll: true });
    this.what.scrollTop = 0;
  }

  draw() {
    const { proof } = this;
    if (!proof) return;
    const approved = proof.portraits.filter((one) => standingOf(one) === "approved").length;
    this.bar.show(proof.studio, proof.shoot, proof.portraits.length > 1 && say("client.progress", { approved, count: proof.portraits.length }));
    if (!proof.portraits.length) {
      fill(this.main, element("p", { class: "empty" }, element("strong", {}, say("client.empty")), say("client.empty-why")));
      return;
    }
    if (!this.what.isConnected) {
      fill(this.main, element("div", { class: "see" }, this.strip.root, this.stage.tools, this.stage.root),
        element("section", { class: "say", "aria-label": say("client.your-say") }, this.what, this.decide));
    }
    const { portrait } = this;
    document.title = say("client.title", { number: this.proof.portraits.indexOf(portrait) + 1, shoot: proof.shoot });
    if (this.shows !== portrait.id) {
      this.shows = portrait.id;
      this.mode = { name: "choose" };
      this.madeFor = this.shownKey = this.shown = this.painted = null;
      this.stage.begin(portrait);
      this.stage.root.setAttribute("aria-label", say("client.picture", { number: this.at + 1 }));
    }
    const choices = this.choices();
    this.strip.show(proof.portraits, portrait.id, (one) => this.choices(one));
    this.#showPictures();
    this.#drawStatus(portrait);
    this.#drawCard(portrait);
    const quiet = this.mode.name !== "choose";
    for (const name of ["choices", "shown", "message", "more"]) this.parts[name].hidden = quiet;
    if (!portrait.ready) this.parts.shown.hidden = true; // what is shown is not what is chosen yet
    this.status.hidden = ["approve", "ask"].includes(this.mode.name);
    refill(this.parts.choices, [portrait.id, choices, proof.strengths, portrait.people], () => this.#choices(portrait, choices));
    refill(this.parts.shown, [choices, portrait.people], () => choices.length
      ? element("p", { class: "quiet" }, say("client.now", { strengths: sayApplied(applied(portrait, choices)) })) : []);
    refill(this.parts.message, proof.message, () => !proof.message ? [] : proof.message.length > SHORT
      ? element("details", {}, element("summary", { "data-key": "message" }, element("q", {}, proof.message))) : element("q", {}, proof.message));
    morePanel(this, this.parts.more, portrait, choices);
    this.#drawDecide(portrait, choices);
    this.#drawPins(portrait);
  }

  #drawStatus(portrait) {
    const standing = standingOf(portrait), { sign_off: signed } = portrait, last = portrait.changes.at(-1);
    const next = this.proof.portraits.findIndex((one, k) => k !== this.at && ["open", "stale", "answered"].includes(standingOf(one)));
    refill(this.status, [portrait.id, standing, signed, last, portrait.ready, next], () => [
      !portrait.ready && element("p", { class: "line" }, icon("working"), element("span", {}, say("client.working"))),
      standing === "approved" && element("p", { class: "line" }, icon("signed"), element("span", {},
        say("client.signed", { name: signed.signed_by, date: sayDate(signed.signed_at) }))),
      standing === "stale" && element("p", { class: "line" }, icon("stale"), element("span", {}, say("client.stale"))),
      standing === "asked" && [element("p", { class: "line" }, icon("with-the-client"), element("span", {}, say("client.asked"))),
        element("q", {}, last.words),
        element("div", { class: "row" },
          element("button", { type: "button", "data-key": "again", onclick: () => this.#askAgain(last) }, say("client.ask-otherwise")),
          element("button", { type: "button", "data-key": "back", onclick: () => this.#takeBack(last) }, say("client.take-back")))],
      standing === "answered" && [element("p", { class: "line" }, icon("letter"), element("span", {}, say("client.answered"))),
        element("q", {}, element("b", {}, say("client.you")), " ", last.words),
        last.answer && element("q", { class: "answer" }, element("b", {}, say("client.they")), " ", last.answer)],
      standing === "approved" && next >= 0 && element("a", { class: "button", href: `#${token}&p=${next + 1}`, "data-key": "next" },
        say("client.next"), icon("right"))]);
  }

  #drawCard(portrait) {
    const { mode } = this;
    const depends = { spot: () => [mode.place, mode.mark?.number, portrait.marks, portrait.ready, this.choices()],
      approve: () => [portrait.state_sha256, this.choices()] };
    const key = JSON.stringify([mode.name, portrait.id, depends[mode.name]?.()]);
    if (this.madeFor === key) return;
    const focused = this.parts.card.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    this.madeFor = key;
    fill(this.parts.card, mode.name === "approve" ? approveForm(this, portrait) : mode.name === "ask" ? askForm(this, portrait)
      : mode.name === "spot" ? spotCard(this, portrait, mode) : []);
    if (focused) this.parts.card.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus();
  }

  #choices(portrait, choices) {
    if (!choices.length) return element("p", {}, say("client.nothing-changed"));
    const values = new Set(choices.map((choice) => choice.strength));
    const now = values.size === 1 ? [...values][0] : null;
    const offered = this.proof.strengths;
    const words = { 0: "client.share.none", 0.5: "client.share.half", 0.75: "client.share.most" };
    const word = (share) => share === offered.at(-1) && share > 0 ? say("client.share.all")
      : words[share] ? say(words[share]) : say("client.share.part", { share: sayPercent(share) });
    return element("fieldset", {}, element("legend", { class: "only-heard" }, say("client.how-much")),
      element("div", { class: "pick four" }, offered.map((share) => element("label", {},
        element("input", { type: "radio", name: "share", value: String(share), checked: share === now, "data-key": `share:${share}`,
          onchange: () => this.choose({ strength: share, choices: {} }) }),
        element("span", {}, element("b", {}, word(share)), element("small", {}, shareIs(portrait, share)))))));
  }

  #drawDecide(portrait, choices) {
    this.decide.hidden = ["approve", "ask"].includes(this.mode.name);
    const signed = portrait.sign_off;
    const same = standingOf(portrait) === "approved" && choices.every(({ person, step, strength }) =>
      strength === (signed.choices.find((one) => one.person === person && one.step === step)?.strength ?? 1));
    refill(this.decide, [portrait.id, portrait.ready, same, Boolean(this.shown)], () => [
      element("button", { type: "button", class: "approve", "data-key": "approve", disabled: !portrait.ready || same || !this.shown,
        onclick: () => this.turn({ name: "approve" }) }, icon("check"), say(same ? "client.approved" : "client.approve")),
      element("button", { type: "button", class: "ask", "data-key": "ask", disabled: !portrait.ready || !this.shown,
        onclick: () => this.turn({ name: "ask" }) }, icon("letter"), say("client.ask"))]);
  }

  #drawPins(portrait) {
    const { mode } = this;
    const places = mode.name === "ask" ? this.kept().places : [];
    const ring = mode.name === "spot" ? [{ ...(mode.mark ?? mode.place), ring: true }] : [];
    const key = JSON.stringify([portrait.id, places, ring]);
    if (key === this.pinned) return;
    this.pinned = key;
    this.stage.pin([...places.map((place, k) => ({ ...place, text: String(k + 1) })), ...ring]);
  }

  #tapped(place, room) {
    const { portrait } = this;
    if (this.mode.name === "approve" || !portrait.ready) return;
    if (this.mode.name === "ask") return this.point(place);
    const far = (mark) => Math.hypot(mark.row - place.row, mark.column - place.column);
    const near = portrait.marks.filter((mark) => far(mark) <= Math.max(room, portrait.width / 60)).sort((one, other) => far(one) - far(other))[0];
    this.turn({ name: "spot", mark: near, place });
  }

  /** Point at a place for the change that is about to be asked for. */
  point(place) {
    const { wish } = place, kept = this.kept();
    const places = [...kept.places, { row: Math.round(place.row), column: Math.round(place.column), ...(wish ? { wish } : {}) }].slice(-20);
    // what is wished of a spot is said with its number, so that words are there to send
    const words = wish ? [kept.words.trim(), say(`client.spot-said.${wish}`, { number: places.length })].filter(Boolean).join("\n") : kept.words;
    this.keep({ places, words });
    if (this.mode.name !== "ask") return this.turn({ name: "ask" });
    this.parts.card.querySelector("form").pointed(places);
    this.draw();
  }

  async wish(mark, wish) {
    await this.#sent(() => service.put(`/v1/proof/marks/${mark.id}/wish`, { wish }));
    this.madeFor = this.parts.more.madeFrom = null; // a spot shows its state, not what was pressed
    this.draw();
  }

  /** Send what the client decided of the very picture that is shown: "sign-off" or "changes". */
  async decideOn(portrait, what, said) {
    const { shown } = this;
    if (!shown || shown.portrait !== portrait.id) return this.trouble(say("client.trouble.not-ready"));
    const seen = { rendering: shown.rendering, side: shown.side, choices: shown.choices };
    const done = await this.#sent(() => service.post(`/v1/proof/portraits/${portrait.id}/${what}`, { ...seen, ...said }));
    if (!done) return;
    this.keep(what === "changes" ? { words: "", places: [] } : {}, portrait);
    this.turn({ name: "choose" });
    this.news(say(what === "changes" ? "client.ask-sent" : "client.thanks"));
    this.stage.root.focus({ preventScroll: true });
  }

  #askAgain(change) {
    this.keep({ words: change.words, places: change.places });
    this.turn({ name: "ask" });
  }

  async #takeBack(change) {
    if (await this.#sent(() => service.remove(`/v1/proof/changes/${change.id}`))) this.news(say("client.taken-back"));
  }

  /** Ask the service for something, tell what went wrong, look again here and in other tabs. */
  async #sent(ask) {
    let done = true, trouble = "";
    try {
      await ask();
    } catch (error) {
      [done, trouble] = [false, sayTrouble(error)];
    }
    this.channel.postMessage("changed");
    await this.look();
    this.trouble(trouble);
    return done;
  }

  async keepCopy() {
    try {
      const blob = await service.picture(`/v1/proof/portraits/${this.portrait.id}/signed`);
      const link = element("a", { href: URL.createObjectURL(blob), download: `${this.portrait.name.replace(/\.[^.]*$/, "")}.jpg` });
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    } catch (error) {
      this.trouble(sayTrouble(error));
    }
  }

  /** Show the picture at what is chosen, small first, then sharp; and before. */
  async #showPictures() {
    const { portrait, stage } = this;
    if (!this.proof?.portraits.length || !this.shows) return;
    const choices = this.choices(), side = Math.max(this.asked?.id === portrait.id ? this.asked.side : 0, Pictures.side(stage.wanted));
    if (!portrait.ready) {
      if (this.painted !== portrait.id) stage.say(element("span", { class: "turns" }, icon("working"))); // in words beside it
      return;
    }
    const key = JSON.stringify([portrait.id, side, choices, portrait.state_sha256]);
    if (key === this.shownKey) return;
    this.shownKey = key;
    // What is decided is decided on what can be seen, so nothing is until that is what was chosen.
    const looks = JSON.stringify([portrait.id, choices, portrait.state_sha256]);
    if (this.looks !== looks) this.shown = null;
    this.looks = looks;
    this.asked = { id: portrait.id, side };
    const nothing = choices.map((choice) => ({ ...choice, strength: 0 }));
    stage.root.setAttribute("aria-busy", "true");
    try {
      for (const now of this.painted === portrait.id ? [side] : [Pictures.small, side]) {
        const after = await this.pictures.get(portrait, choices, now, portrait.state_sha256);
        if (this.shownKey !== key || !(await this.#put(stage.after, after, key))) return;
        stage.say();
        stage.after.alt = say("viewer.picture", { name: portrait.name });
        this.painted = portrait.id;
        if (now === side) this.shown = { portrait: portrait.id, rendering: after.rendering, side, choices };
      }
      this.#drawDecide(portrait, choices);
      if (this.proof.strengths.includes(0)) await this.#put(stage.before, await this.pictures.get(portrait, nothing, side, portrait.state_sha256), key);
      this.#ahead();
    } catch (error) {
      if (this.shownKey !== key) return;
      this.shownKey = null;
      if (this.painted !== portrait.id) stage.say(element("p", { class: "failed" }, sayTrouble(error)));
      setTimeout(() => this.#showPictures(), RETRY_MS);
    } finally {
      if (this.shownKey === key || this.shownKey === null) stage.root.removeAttribute("aria-busy");
    }
  }

  /** Put a picture into its place once it can be painted; gives whether it is still wanted. */
  async #put(image, picture, key) {
    const decoded = new Image();
    decoded.src = picture.address;
    await decoded.decode();
    if (this.shownKey !== key) return false;
    image.src = picture.address;
    return true;
  }

  /** Ask for the pictures beside this one, so that the next is there at once. */
  #ahead() {
    for (const portrait of [this.proof.portraits[this.at + 1], this.proof.portraits[this.at - 1]]) {
      if (portrait?.ready) this.pictures.get(portrait, this.choices(portrait), Pictures.small, portrait.state_sha256).catch(() => {});
    }
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

  #said() {
    return Number(location.hash.split("&p=")[1] ?? 1) - 1;
  }

  #gone() {
    this.at = this.#said();
    this.trouble("");
    this.draw();
  }

  #close() {
    this.closed = true;
    document.body.classList.add("closed");
    fill(this.main, element("h1", {}, say("client.closed")), element("p", {}, say("client.closed-why")));
  }

  #key(event) {
    if (event.ctrlKey || event.metaKey || !this.painted) return;
    if (event.key === "Escape" && this.mode.name !== "choose") this.turn({ name: "choose", from: this.mode.name });
    else if (!event.target.matches("input:not([type=radio]), textarea, select") && event.key.toLowerCase() === "b" && !event.repeat) this.stage.holding(true);
  }
}

new Proof().begin();
