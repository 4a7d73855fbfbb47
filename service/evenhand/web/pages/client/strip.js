// The pictures of a proof in a row, each with how it stands.

import { element, icon } from "../element.js";
import { say } from "../words.js";
import { Pictures } from "./pictures.js";
import { ICONS, standingOf } from "./told.js";

export class Strip {
  /** @param {(k: number) => string} addressOf  where a picture is, by its place in the row */
  constructor(pictures, addressOf) {
    this.pictures = pictures;
    this.addressOf = addressOf;
    this.items = new Map();
    this.list = element("ol");
    this.root = element("nav", { class: "strip", "aria-label": say("client.pictures") }, this.list);
    this.seen = new IntersectionObserver((entries) => {
      for (const { isIntersecting, target } of entries) if (isIntersecting) target.seen();
    }, { root: this.root, rootMargin: "0px 50% 0px 50%" });
  }

  /** Show portraits, of which one is looked at; `choicesOf` gives the choices a picture is shown with. */
  show(portraits, current, choicesOf) {
    this.root.hidden = portraits.length < 2;
    const ids = portraits.map((one) => one.id);
    if (ids.join() !== [...this.items.keys()].join()) {
      this.items = new Map(portraits.map((portrait, k) => [portrait.id, this.items.get(portrait.id) ?? this.#item(portrait, k)]));
      this.list.replaceChildren(...[...this.items.values()].map((item) => item.root));
    }
    portraits.forEach((portrait, k) => {
      const item = this.items.get(portrait.id), standing = standingOf(portrait), here = portrait.id === current;
      item.link.href = this.addressOf(k);
      item.link.setAttribute("aria-label", [say("client.picture", { number: k + 1 }), standing !== "open" && say(`client.standing.${standing}`)]
        .filter(Boolean).join(": "));
      if (item.standing !== standing) {
        item.standing = standing;
        item.sign.replaceChildren(...(ICONS[standing] ? [icon(ICONS[standing])] : []));
      }
      if (here !== item.here) {
        item.here = here;
        if (here) item.link.setAttribute("aria-current", "true");
        else item.link.removeAttribute("aria-current");
        if (here) this.#reveal(item.root);
      }
      item.show = () => this.#thumb(item, portrait, choicesOf(portrait));
      if (item.inView) item.show();
    });
  }

  #item(portrait, k) {
    const image = element("img", { alt: "", width: portrait.width, height: portrait.height });
    const sign = element("span", { class: "sign" });
    const link = element("a", { "data-key": `go:${k}` }, image, sign);
    const root = element("li", {}, link);
    const item = { root, link, image, sign };
    root.seen = () => {
      item.inView = true;
      item.show?.();
    };
    this.seen.observe(root);
    return item;
  }

  async #thumb(item, portrait, choices) {
    const key = JSON.stringify([portrait.state_sha256, choices]);
    if (item.key === key || !portrait.ready) return;
    item.key = key;
    try {
      const { address } = await this.pictures.get(portrait, choices, Pictures.small, portrait.state_sha256);
      if (item.key === key) item.image.src = address;
    } catch {
      item.key = null; // it is asked for again at the next look
    }
  }

  #reveal(item) {
    const room = this.root.clientWidth / 2;
    this.root.scrollLeft = item.offsetLeft - room + item.offsetWidth / 2;
  }
}
