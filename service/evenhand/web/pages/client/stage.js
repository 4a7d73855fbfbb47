// The picture on the client's page: pinned in its frame, dragged across to compare, enlarged by
// double tap, pinch, wheel or key, and tapped to point at a spot.

import { element, icon } from "../element.js";
import { say } from "../words.js";

const ENLARGED = 2.5; // by double tap, button or key
const MOST = 6; // largest enlargement
const STILL = 7; // a finger that moves no farther taps, pixels
const TWICE_MS = 280; // within which a second tap makes a double one
const KEY_STEP = 0.15; // of the frame, moved by an arrow key

export class Stage {
  /** @param {object} does  tapped(place), stepped(by), enlarged() */
  constructor(does) {
    this.does = does;
    this.size = { width: 4, height: 5 };
    this.view = { zoom: 1, x: 0.5, y: 0.5 };
    this.compare = 0;
    this.pointers = new Map();
    this.pins = [];
    this.after = element("img", { class: "after", alt: "", draggable: "false" });
    this.before = element("img", { class: "before", alt: "", draggable: "false" });
    this.window = element("div", { class: "window" }, this.before);
    this.handle = element("div", { class: "handle", "aria-hidden": "true" }, icon("left"), icon("right"));
    this.tag = element("span", { class: "which", hidden: true }, say("viewer.before"));
    this.marks = element("div", { class: "pins", "aria-hidden": "true" });
    this.says = element("div", { class: "says", role: "status" });
    this.root = element("div", { class: "stage", tabindex: "0", role: "group", "aria-roledescription": say("client.picture-role"),
      "aria-describedby": "stage-keys", onkeydown: (event) => this.#key(event) },
      this.after, this.window, this.marks, this.handle, this.tag, this.waits, this.says,
      element("span", { id: "stage-keys", class: "only-heard" }, say("client.stage-keys")));
    this.slider = element("input", { type: "range", min: "0", max: "100", value: "0", id: "compare", "aria-label": say("client.compare"),
      oninput: () => this.setCompare(Number(this.slider.value)) });
    this.hold = element("button", { type: "button", class: "hold", "aria-pressed": "false", "aria-label": say("client.hold"), title: say("client.hold"),
      onpointerdown: () => this.holding(true), onpointerup: () => this.holding(false), onpointerleave: () => this.holding(false),
      onpointercancel: () => this.holding(false), oncontextmenu: (event) => event.preventDefault(),
      onkeydown: (event) => [" ", "Enter"].includes(event.key) && this.holding(true),
      onkeyup: (event) => [" ", "Enter"].includes(event.key) && this.holding(false),
      onblur: () => this.holding(false) }, icon("before"), element("span", {}, say("viewer.before")));
    this.enlarge = element("button", { type: "button", "aria-pressed": "false", onclick: () => this.toggle() },
      icon("plus"), element("span", {}, say("client.enlarge")));
    this.waits = element("span", { class: "busy" }, icon("working"));
    this.tools = element("div", { class: "comparing" }, this.hold, this.slider, this.enlarge);
    const { root } = this;
    root.addEventListener("pointerdown", (event) => this.#down(event));
    root.addEventListener("pointermove", (event) => this.#move(event));
    for (const end of ["pointerup", "pointercancel"]) root.addEventListener(end, (event) => this.#up(event));
    root.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    new ResizeObserver(() => this.place()).observe(root);
  }

  /** Begin with another picture of this size, pixels of the photograph. */
  begin(size) {
    this.size = size;
    this.view = { zoom: 1, x: 0.5, y: 0.5 };
    this.setCompare(0);
    for (const image of [this.after, this.before]) image.removeAttribute("src");
    this.place();
  }

  /** Show what there is to say in place of a picture, or nothing. */
  say(...what) {
    this.says.replaceChildren(...what);
  }

  /** Put pins at places of the photograph: [{ row, column, text, round }]. */
  pin(pins) {
    this.pins = pins;
    this.marks.replaceChildren(...pins.map((pin) => element("span", { class: pin.ring ? "pin ring" : "pin" }, pin.text ?? "")));
    this.place();
  }

  /** Device pixels that the longer side of the picture takes, enlarged as it is. */
  get wanted() {
    const { width, height } = this.#fitted();
    return Math.max(width, height) * this.view.zoom * (devicePixelRatio || 1);
  }

  /** Place in the photograph of the middle of the view. */
  get middle() {
    return { row: this.view.y * this.size.height, column: this.view.x * this.size.width };
  }

  setCompare(part) {
    this.compare = Math.min(100, Math.max(0, part));
    this.slider.value = String(Math.round(this.compare));
    this.slider.style.setProperty("--part", this.compare);
    this.slider.setAttribute("aria-valuetext", say("client.uncovered", { share: Math.round(this.compare) }));
    this.tag.hidden = this.compare === 0;
    this.#divide();
  }

  holding(held) {
    if (held === this.held) return;
    this.held = held;
    this.hold.setAttribute("aria-pressed", String(held));
    if (held) this.heldFrom = this.compare;
    this.setCompare(held ? 100 : this.heldFrom ?? 0);
  }

  toggle(at = null) {
    this.#zoom(this.view.zoom > 1 ? 1 : ENLARGED, at ?? this.#centre());
  }

  /** Lay pictures, divider and pins where the view says. */
  place() {
    const { left, top, width, height } = this.#laid();
    for (const image of [this.after, this.before]) {
      Object.assign(image.style, { left: `${left}px`, top: `${top}px`, width: `${width}px`, height: `${height}px` });
    }
    [...this.marks.children].forEach((pin, k) => {
      pin.style.left = `${left + (this.pins[k].column / this.size.width) * width}px`;
      pin.style.top = `${top + (this.pins[k].row / this.size.height) * height}px`;
    });
    this.enlarge.setAttribute("aria-pressed", String(this.view.zoom > 1));
    this.root.classList.toggle("enlarged", this.view.zoom > 1);
    this.#divide();
  }

  #fitted() {
    const { clientWidth, clientHeight } = this.root;
    const scale = Math.min(clientWidth / this.size.width, clientHeight / this.size.height);
    return { width: this.size.width * scale, height: this.size.height * scale };
  }

  /** Where the picture lies in the frame, once it is kept from leaving it. */
  #laid() {
    const { clientWidth, clientHeight } = this.root;
    const fitted = this.#fitted(), { view } = this;
    const width = fitted.width * view.zoom, height = fitted.height * view.zoom;
    const kept = (at, size, frame) => size <= frame ? 0.5 : Math.min(1 - frame / 2 / size, Math.max(frame / 2 / size, at));
    view.x = kept(view.x, width, clientWidth);
    view.y = kept(view.y, height, clientHeight);
    return { left: clientWidth / 2 - view.x * width, top: clientHeight / 2 - view.y * height, width, height };
  }

  /** What of the picture is seen, from left to right in the frame. */
  #span() {
    const { left, width } = this.#laid();
    return [Math.max(0, left), Math.min(this.root.clientWidth, left + width)];
  }

  #divide() {
    const [from, to] = this.#span();
    const at = from + (to - from) * (this.compare / 100);
    this.window.style.clipPath = `inset(0 ${this.root.clientWidth - at}px 0 0)`;
    this.handle.style.left = `clamp(1.375rem, ${at}px, calc(100% - 1.375rem))`;
    this.handle.classList.toggle("resting", this.compare === 0 || this.compare === 100);
  }

  #compareAt(x) {
    const [from, to] = this.#span();
    this.setCompare(((x - from) / Math.max(1, to - from)) * 100);
  }

  #centre() {
    return { x: this.root.clientWidth / 2, y: this.root.clientHeight / 2 };
  }

  /** Enlarge so that what lies at a place of the frame stays there. */
  #zoom(zoom, at) {
    const before = this.#laid();
    const [x, y] = [(at.x - before.left) / before.width, (at.y - before.top) / before.height];
    this.view.zoom = Math.min(MOST, Math.max(1, zoom));
    const { width, height } = this.#fitted();
    this.view.x = x + (this.root.clientWidth / 2 - at.x) / (width * this.view.zoom);
    this.view.y = y + (this.root.clientHeight / 2 - at.y) / (height * this.view.zoom);
    this.place();
    this.does.enlarged();
  }

  #pan(x, y) {
    const { width, height } = this.#laid();
    this.view.x -= x / width;
    this.view.y -= y / height;
    this.place();
  }

  #at(event) {
    const box = this.root.getBoundingClientRect();
    return { x: event.clientX - box.left, y: event.clientY - box.top };
  }

  #down(event) {
    if (event.target.closest("button") || event.button > 0) return;
    this.root.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, this.#at(event));
    if (this.pointers.size === 1) {
      this.start = this.#at(event);
      this.doing = event.target.closest(".handle") ? "compare" : null;
    } else {
      this.doing = "pinch";
      clearTimeout(this.tap);
    }
  }

  #move(event) {
    const was = this.pointers.get(event.pointerId);
    if (!was) return;
    const at = this.#at(event);
    this.pointers.set(event.pointerId, at);
    if (this.doing === "pinch") {
      const other = [...this.pointers].find(([id]) => id !== event.pointerId)?.[1];
      if (!other) return;
      const apart = (one) => Math.hypot(one.x - other.x, one.y - other.y);
      this.#pan((at.x - was.x) / 2, (at.y - was.y) / 2);
      this.#zoom(this.view.zoom * (apart(at) / Math.max(1, apart(was))), { x: (at.x + other.x) / 2, y: (at.y + other.y) / 2 });
      return;
    }
    if (this.doing === null && Math.hypot(at.x - this.start.x, at.y - this.start.y) > STILL) {
      this.doing = this.view.zoom > 1 ? "pan" : "compare";
    }
    if (this.doing === "compare") this.#compareAt(at.x);
    else if (this.doing === "pan") this.#pan(at.x - was.x, at.y - was.y);
  }

  #up(event) {
    if (!this.pointers.delete(event.pointerId)) return;
    if (this.pointers.size) return;
    if (this.doing === null && event.type === "pointerup") this.#tapped(this.#at(event));
    this.doing = undefined;
  }

  #tapped(at) {
    const second = this.tapAt && Math.hypot(at.x - this.tapAt.x, at.y - this.tapAt.y) < 4 * STILL;
    clearTimeout(this.tap);
    if (second) {
      this.tapAt = null;
      this.toggle(at);
      return;
    }
    this.tapAt = at;
    this.tap = setTimeout(() => {
      this.tapAt = null;
      const { left, top, width, height } = this.#laid();
      const column = ((at.x - left) / width) * this.size.width, row = ((at.y - top) / height) * this.size.height;
      const inside = column >= 0 && row >= 0 && column < this.size.width && row < this.size.height;
      if (inside) this.does.tapped({ row, column }, (this.size.width / width) * 22);
    }, TWICE_MS);
  }

  #wheel(event) {
    if (!event.ctrlKey) return;
    event.preventDefault();
    this.#zoom(this.view.zoom * Math.exp(-event.deltaY / 200), this.#at(event));
  }

  #key(event) {
    if (event.target !== this.root || event.ctrlKey || event.metaKey || event.altKey) return;
    const moves = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    if (["+", "="].includes(event.key)) this.#zoom(this.view.zoom * 1.5, this.#centre());
    else if (event.key === "-") this.#zoom(this.view.zoom / 1.5, this.#centre());
    else if (event.key === "0") this.#zoom(1, this.#centre());
    else if (event.key === "Enter") this.does.tapped(this.middle, 0);
    else if (event.key in moves && this.view.zoom > 1) {
      const [x, y] = moves[event.key];
      this.#pan(x * KEY_STEP * this.root.clientWidth, y * KEY_STEP * this.root.clientHeight);
    } else if (["ArrowLeft", "ArrowRight"].includes(event.key)) this.does.stepped(event.key === "ArrowRight" ? 1 : -1);
    else return;
    event.preventDefault();
  }
}
