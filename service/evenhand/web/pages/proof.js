// The client's page: look, choose how much, say it of a spot, sign off, keep a copy.

import { element, fill, refill } from "./element.js";
import { Service } from "./service.js";
import { inOrder } from "./steps.js";
import { languageControl, loadWords, say, sayDate, sayNumber, sayOr, sayPercent } from "./words.js";

const LOOK_EVERY_MS = 2500; // how often the page looks what is new
const LARGEST = 2400; // longer side of a picture that the service gives, pixels
const SIDES = 400; // sides asked for are whole multiples of this
const SPOT_MM = 18; // width of a cut-out around a spot, pixels of the cut-out come from the picture
const NOTICES = ["doctor", "labelling", "personal data", "permission"];

const [token, ...rest] = location.hash.slice(1).split("&");
const service = new Service(() => token);

class Proof {
  constructor() {
    this.at = Number(rest.find((part) => part.startsWith("p="))?.slice(2) ?? 1) - 1;
    this.pictures = new Map();
    this.compare = 0;
    this.channel = new BroadcastChannel("evenhand.proof");
    this.channel.onmessage = () => this.look();
    addEventListener("hashchange", () => location.hash.slice(1).split("&")[0] !== token ? location.reload() : this.#goTo());
    addEventListener("storage", () => this.draw());
    addEventListener("keydown", (event) => this.#key(event));
    addEventListener("keyup", (event) => event.key.toLowerCase() === "b" && this.hold(false));
  }

  async begin() {
    await loadWords();
    const bar = document.getElementById("bar");
    fill(bar, element("span", { class: "name" }, "Evenhand"), languageControl(element));
    this.main = document.getElementById("main");
    this.#build();
    await this.look();
    setInterval(() => !document.hidden && this.look(), LOOK_EVERY_MS);
  }

  #build() {
    this.parts = Object.fromEntries(["head", "strip", "state", "strengths", "what", "spots", "sign"].map((name) =>
      [name, element("section", { class: `part ${name}` })]));
    this.after = element("img", { class: "after", alt: "" });
    this.before = element("img", { class: "before", alt: "" });
    this.tag = element("span", { class: "which before", hidden: true }, say("viewer.before"));
    this.stage = element("figure", { class: "stage" }, this.after, this.before, this.tag);
    this.slider = element("input", { type: "range", min: "0", max: "100", value: "0", id: "compare",
      oninput: () => this.setCompare(Number(this.slider.value)) });
    this.holdButton = element("button", { type: "button", class: "hold", "aria-pressed": "false",
      onpointerdown: () => this.hold(true), onpointerup: () => this.hold(false), onpointerleave: () => this.hold(false),
      onpointercancel: () => this.hold(false), oncontextmenu: (event) => event.preventDefault(),
      onkeydown: (event) => [" ", "Enter"].includes(event.key) && this.hold(true),
      onkeyup: (event) => [" ", "Enter"].includes(event.key) && this.hold(false) }, say("client.hold"));
    const { head, strip, state, strengths, what, spots, sign } = this.parts;
    fill(this.main, head, strip,
      element("div", { class: "proof" },
        element("div", { class: "see" }, this.stage,
          element("div", { class: "comparing" },
            element("label", { for: "compare" }, say("client.compare")), this.slider, this.holdButton)),
        element("div", { class: "say" }, state, strengths, what, spots, sign)),
      element("section", { class: "notices", "aria-label": say("client.good-to-know") },
        element("h2", {}, say("client.good-to-know")),
        element("ul", {}, ["client.nothing-for-good", "client.screens"].map((word) => element("li", {}, say(word))),
          NOTICES.map((one) => element("li", {}, say(`notice.${one}`))))));
  }

  async look() {
    if (this.looking) return;
    this.looking = true;
    try {
      this.proof = await service.get("/v1/proof");
      document.getElementById("trouble").textContent = "";
      this.draw();
    } catch (error) {
      if ([401, 403].includes(error.status) || !token) {
        document.body.classList.add("closed");
        fill(this.main, element("h1", {}, say("client.closed")), element("p", {}, say("client.closed-why")));
        return new Promise(() => {});
      }
      document.getElementById("trouble").textContent = error.message;
    } finally {
      this.looking = false;
    }
  }

  get portrait() {
    return this.proof.portraits[Math.min(this.proof.portraits.length - 1, Math.max(0, this.at))];
  }

  // What the client is about to say is kept in the browser until it is signed.
  kept(portrait = this.portrait) {
    const kept = JSON.parse(localStorage.getItem(`evenhand.proof.${portrait.id}`) ?? "{}");
    return { choices: {}, note: "", undo: [], ...kept };
  }

  keep(more, portrait = this.portrait) {
    localStorage.setItem(`evenhand.proof.${portrait.id}`, JSON.stringify({ ...this.kept(portrait), ...more }));
    this.draw();
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
    const { choices, strength, undo } = this.kept();
    this.keep({ choices, strength, ...change, undo: [...undo, { choices, strength }].slice(-50) });
  }

  draw() {
    if (!this.proof) return;
    const { head, strip, strengths, what, spots, sign, state } = this.parts;
    const { portrait, proof } = this;
    const kept = this.kept();
    document.title = `${portrait.name} · ${proof.shoot}`;
    refill(head, [proof.shoot, proof.message], () => [element("h1", {}, proof.shoot),
      proof.message && element("p", { class: "message" }, proof.message)]);
    refill(strip, [this.at, proof.portraits.map((one) => [one.id, one.sign_off?.standing])], () => proof.portraits.length > 1
      ? element("nav", { "aria-label": say("client.pictures") }, element("ol", {}, proof.portraits.map((one, k) =>
        element("li", {}, element("a", { href: `#${token}&p=${k + 1}`, "aria-current": one.id === portrait.id ? "true" : null,
          "data-key": `go:${k}` }, say("client.picture", { number: k + 1 }),
          one.sign_off?.standing === "valid" && element("span", { "aria-label": say("state.signed") }, " ●")))))) : []);
    const choices = this.choices();
    this.#showPictures(portrait, choices);
    const signed = portrait.sign_off;
    refill(state, [signed, portrait.ready], () => element("div", { role: "status" },
      !portrait.ready ? element("p", { class: "busy" }, say("client.working"))
        : signed?.standing === "valid" ? element("p", { class: "done" }, say("client.signed", { name: signed.signed_by, date: sayDate(signed.signed_at) }))
          : signed?.standing === "stale" ? element("p", { class: "busy" }, say("client.stale")) : [],
      signed && signed.standing !== "void" && element("button", { type: "button", "data-key": "copy", onclick: () => this.#keepCopy() }, say("client.copy"))));
    refill(strengths, [choices, proof.strengths, kept.undo.length > 0], () => this.#strengths(choices, kept));
    refill(what, [portrait.people], () => this.#what(portrait));
    refill(spots, [portrait.marks, portrait.people.map((person) => person.name)], () => this.#spots(portrait));
    refill(sign, [portrait.id, signed?.id, signed?.standing, portrait.ready, choices], () => this.#sign(portrait, choices, kept));
  }

  #strengthRadios(name, now, set) {
    const offered = this.proof.strengths;
    const word = (strength) => strength === 0 ? say("client.none") : strength === offered.at(-1) ? say("client.all")
      : say("client.part", { share: sayPercent(strength) });
    return element("div", { class: "choices" }, offered.map((strength) =>
      element("label", {}, element("input", { type: "radio", name, value: String(strength), checked: strength === now,
        "data-key": `${name}:${strength}`, onchange: () => set(strength) }), element("span", {}, word(strength)))));
  }

  #strengths(choices, kept) {
    if (!choices.length) return element("p", {}, say("client.nothing-changed"));
    const values = new Set(choices.map((choice) => choice.strength));
    const one = values.size === 1 ? [...values][0] : null;
    const many = choices.length > 1;
    const open = this.parts.strengths.querySelector("details")?.open;
    return [
      element("fieldset", {}, element("legend", {}, element("h2", {}, say("client.how-much"))),
        this.#strengthRadios("all", one, (strength) => this.choose({ strength, choices: {} }))),
      many && element("details", { open: open || one === null },
        element("summary", {}, say("client.each")),
        this.portrait.people.map((person) => inOrder(person.steps).map((step) =>
          element("fieldset", {}, element("legend", {}, `${person.name ?? ""}: ${sayOr(`step.${step}`, step)}`),
            this.#strengthRadios(`${person.id}.${step}`, this.choiceOf(this.portrait, person.id, step), (strength) =>
              this.choose({ choices: { ...this.kept().choices, [`${person.id}.${step}`]: strength } })))))),
      element("button", { type: "button", class: "quiet", "data-key": "undo", disabled: !kept.undo.length,
        onclick: () => {
          const { undo } = this.kept();
          this.keep({ ...undo.at(-1), strength: undo.at(-1).strength, undo: undo.slice(0, -1) });
        } }, say("undo")),
    ];
  }

  #what(portrait) {
    if (!portrait.people.length) return [];
    return [element("h2", {}, say("client.what")),
      element("ul", {}, portrait.people.map((person) => element("li", {},
        element("strong", {}, person.name ?? ""), ": ", inOrder(person.steps).map((step) => sayOr(`step.${step}`, step)).join(", ")))),
      element("p", { class: "quiet" }, say("client.kept"))];
  }

  #spots(portrait) {
    if (!portrait.marks.length) return [];
    const names = new Map(portrait.people.map((person) => [person.id, person.name]));
    return element("details", { open: portrait.marks.length <= 6 || this.parts.spots.querySelector("details")?.open },
      element("summary", {}, element("h2", {}, say("client.spots", { count: portrait.marks.length }))),
      element("p", {}, say("client.spots-how")),
      element("ol", { class: "spots" }, portrait.marks.map((mark) => {
        const taken = (mark.decision ?? mark.proposed) === "remove";
        const cutOut = element("canvas", { width: 144, height: 144, role: "img", "aria-label": say("client.spot", { number: mark.number }) });
        cutOut.mark = mark;
        this.#cutOut(cutOut);
        return element("li", {}, cutOut, element("div", {},
          element("p", {}, element("strong", {}, say("client.spot", { number: mark.number })), " ",
            portrait.people.length > 1 ? names.get(mark.person) : "", " ",
            element("span", { class: "quiet" }, say(taken ? "client.would-remove" : "client.would-leave"))),
          element("fieldset", { class: "wish" }, element("legend", { class: "only-heard" }, say("client.spot", { number: mark.number })),
            ["leave it", "please remove"].map((wish) => element("label", {},
              element("input", { type: "radio", name: `wish-${mark.number}-${mark.person}`, checked: mark.wish === wish,
                "data-key": `wish:${mark.person}:${mark.number}:${wish}`, onchange: () => this.#wish(mark, wish) }),
              element("span", {}, say(`wish.${wish}`)))),
            mark.wish && element("button", { type: "button", class: "quiet", "data-key": `unwish:${mark.person}:${mark.number}`,
              onclick: () => this.#wish(mark, null) }, say("client.take-back"))),
          mark.wish === "please remove" && mark.kind === "lasting" && element("p", { class: "quiet" }, say("client.will-ask"))));
      })));
  }

  async #wish(mark, wish) {
    try {
      await service.put(`/v1/proof/marks/${mark.id}/wish`, { wish });
    } catch (error) {
      document.getElementById("trouble").textContent = error.message;
    }
    this.channel.postMessage("changed");
    await this.look();
  }

  #sign(portrait, choices, kept) {
    const name = element("input", { id: "sign-name", required: true, maxlength: "200", autocomplete: "name", "data-key": "sign-name",
      value: localStorage.getItem("evenhand.signed-by") ?? "",
      oninput: () => localStorage.setItem("evenhand.signed-by", name.value) });
    const note = element("textarea", { id: "sign-note", maxlength: "4000", rows: "3", "data-key": "sign-note", value: kept.note,
      oninput: () => localStorage.setItem(`evenhand.proof.${portrait.id}`, JSON.stringify({ ...this.kept(portrait), note: note.value })) });
    const again = portrait.sign_off?.standing === "valid";
    return element("form", { onsubmit: (event) => { event.preventDefault(); this.#signOff(portrait, name.value, note.value); } },
      element("h2", {}, say(again ? "client.sign-again" : "client.sign")),
      element("label", { for: "sign-note" }, say("client.note")), note,
      element("label", { for: "sign-name" }, say("client.name")), name,
      element("p", { class: "quiet" }, say("client.sign-means")),
      element("button", { class: "main", "data-key": "sign", disabled: !portrait.ready }, say("client.sign-off")));
  }

  async #signOff(portrait, signedBy, note) {
    const shown = this.shown;
    if (!shown || shown.portrait !== portrait.id) return;
    try {
      await service.post(`/v1/proof/portraits/${portrait.id}/sign-off`,
        { rendering: shown.rendering, side: shown.side, choices: shown.choices, signed_by: signedBy, note });
      document.getElementById("news").textContent = say("client.thanks");
      this.channel.postMessage("signed");
    } catch (error) {
      document.getElementById("trouble").textContent = error.message;
      this.pictures.clear();
      this.shownKey = null;
    }
    await this.look();
    this.parts.state.scrollIntoView({ block: "center" });
  }

  async #keepCopy() {
    const blob = await service.picture(`/v1/proof/portraits/${this.portrait.id}/signed`);
    const name = this.portrait.name.replace(/\.[^.]*$/, "");
    const link = element("a", { href: URL.createObjectURL(blob), download: `${name}.jpg` });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  /** Show the picture at these choices, and before. */
  async #showPictures(portrait, choices) {
    const width = this.stage.clientWidth * (devicePixelRatio || 1);
    const longer = width * Math.max(1, portrait.height / portrait.width);
    const side = Math.min(LARGEST, Math.max(SIDES, Math.ceil(longer / SIDES) * SIDES));
    const versions = portrait.marks.map((mark) => [mark.number, mark.decision ?? mark.proposed]);
    const key = JSON.stringify([portrait.id, portrait.ready, side, choices, versions]);
    if (key === this.shownKey || !portrait.ready) return;
    this.shownKey = key;
    for (const image of [this.after, this.before]) Object.assign(image, { width: portrait.width, height: portrait.height });
    this.stage.setAttribute("aria-busy", "true");
    const strengths = choices.map((choice) => `${choice.person}.${choice.step}:${choice.strength}`).join(",");
    const nothing = choices.map((choice) => `${choice.person}.${choice.step}:0`).join(",");
    const base = `/v1/proof/portraits/${portrait.id}/picture?side=${side}`;
    try {
      const after = await this.#picture(`${base}&strengths=${strengths}`, key);
      if (this.shownKey !== key) return;
      this.after.src = after.address;
      this.after.alt = say("viewer.picture", { name: portrait.name });
      this.shown = { portrait: portrait.id, rendering: after.rendering, side, choices };
      this.#cutOuts(after.blob);
      if (this.proof.strengths.includes(0)) {
        const before = await this.#picture(`${base}&strengths=${nothing}`, `${portrait.id}:${side}`);
        if (this.shownKey === key) this.before.src = before.address;
      }
      this.setCompare(this.compare);
    } catch (error) {
      this.shownKey = null;
      if (error.kind !== "not-ready") document.getElementById("trouble").textContent = error.message;
    } finally {
      this.stage.removeAttribute("aria-busy");
    }
  }

  async #picture(path, key) {
    if (!this.pictures.has(key)) {
      const response = await service.ask("GET", path);
      const blob = await response.blob();
      const made = { blob, rendering: response.headers.get("Rendering"), address: URL.createObjectURL(blob) };
      this.pictures.set(key, made);
    }
    return this.pictures.get(key);
  }

  async #cutOuts(blob) {
    this.whole = await createImageBitmap(blob);
    for (const canvas of this.parts.spots.querySelectorAll("canvas")) this.#cutOut(canvas);
  }

  #cutOut(canvas) {
    const { whole } = this;
    if (!whole) return;
    const { mark } = canvas;
    const scale = whole.width / this.portrait.width;
    const size = Math.max(36, whole.width / 12, mark.size_mm * 4 * scale);
    const x = mark.column * scale, y = mark.row * scale;
    const context = canvas.getContext("2d");
    context.fillStyle = "#777";
    context.fillRect(0, 0, canvas.width, canvas.height);
    context.drawImage(whole, x - size / 2, y - size / 2, size, size, 0, 0, canvas.width, canvas.height);
    for (const [colour, width] of [["rgb(0 0 0 / 0.7)", 4], ["#fff", 2]]) {
      context.strokeStyle = colour;
      context.lineWidth = width;
      context.beginPath();
      context.arc(canvas.width / 2, canvas.height / 2, canvas.width / 5, 0, 7);
      context.stroke();
    }
  }

  setCompare(part) {
    this.compare = part;
    this.slider.value = String(part);
    this.before.style.clipPath = `inset(0 ${100 - part}% 0 0)`;
    this.stage.style.setProperty("--at", `${part}%`);
    this.stage.classList.toggle("divided", part > 0 && part < 100);
    this.tag.hidden = part === 0;
  }

  hold(holding) {
    if (holding === this.holding) return;
    this.holding = holding;
    this.holdButton.setAttribute("aria-pressed", String(holding));
    if (holding) this.heldFrom = this.compare;
    this.setCompare(holding ? 100 : this.heldFrom ?? 0);
  }

  #goTo() {
    this.at = Number(location.hash.split("&p=")[1] ?? 1) - 1;
    this.whole = null;
    this.draw();
  }

  #key(event) {
    if (event.target.matches("input:not([type=radio]), textarea, select") || event.ctrlKey || event.metaKey) return;
    if (event.key.toLowerCase() === "b" && !event.repeat) this.hold(true);
  }
}

new Proof().begin();
