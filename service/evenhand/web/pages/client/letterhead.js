// The head of a page that a link opens: the studio's mark and name, what it is about, the language.

import { element, refill } from "../element.js";
import { languageControl, say } from "../words.js";

/** @param {string} tag  what the subject is: "h1" where nothing below is the heading of the page */
export function letterhead(service, bar, tag = "p") {
  const mark = element("span", { class: "mark" });
  const about = element("div", { class: "about" });
  bar.replaceChildren(mark, about, languageControl(element));
  return {
    /** Show the studio, what the page is about, and what more there is to say. */
    show(studio, subject, more) {
      refill(mark, studio.mark_sha256, () => {
        if (!studio.mark_sha256) return [];
        const image = element("img", { alt: studio.name ? "" : say("client.studio") });
        service.picture("/v1/studio/mark").then((blob) => (image.src = URL.createObjectURL(blob)), () => image.remove());
        return image;
      });
      refill(about, [studio.name, subject, more], () => [studio.name && element("p", { class: "name" }, studio.name),
        element("div", { class: "what-of" }, element(tag, { class: "of" }, subject), more && element("p", { class: "quiet" }, more))]);
    },
  };
}
