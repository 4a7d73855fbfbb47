// All portraits of the shoot in a row, the open one marked.

import { arrange, element, icon } from "../element.js";
import { say } from "../words.js";

const SIDE = 160; // longer side of a picture asked for, pixels

/** @param {(id: string) => void} open */
export function filmStrip(studio, pictures, here, open) {
  const root = element("nav", { class: "film", "aria-label": say("film") });
  let brought = false;
  return {
    root,
    show(portraits) {
      arrange(root, portraits.filter((one) => one.width).map((one) => ({
        key: one.id, facts: [one.name, one.state, one.stars],
        make: () => {
          const image = element("img", { alt: "", loading: "lazy", width: one.width, height: one.height });
          pictures.into(image, `/v1/portraits/${one.id}/preview?side=${SIDE}`, `film:${one.id}:${one.state}`);
          return element("a", { href: `#/portrait/${one.id}`, "data-key": `film:${one.id}`, title: one.name,
            "aria-current": one.id === here ? "page" : null,
            onclick: (event) => {
              if (event.ctrlKey || event.metaKey || event.shiftKey) return;
              event.preventDefault();
              open(one.id);
            } },
            image, one.state === "signed" && icon("signed"), element("span", { class: "only-heard" }, one.name));
        } })));
      if (brought) return;
      brought = true;
      const now = root.querySelector("[aria-current]");
      if (now) root.scrollLeft = now.offsetLeft - (root.clientWidth - now.clientWidth) / 2;
    },
  };
}
