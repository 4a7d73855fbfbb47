// What else there is to a picture, behind one line: each change by itself, spots, what was said.

import { element, icon, refill } from "../element.js";
import { inOrder } from "../steps.js";
import { say, sayDate } from "../words.js";
import { shareIs, stepWord } from "./told.js";

const NOTICES = ["doctor", "labelling", "personal data", "permission"];

export function morePanel(page, place, portrait, choices) {
  const { proof } = page;
  refill(place, [portrait.id, choices, proof.strengths, portrait.people, portrait.marks, portrait.changes, portrait.sign_off?.standing, proof.expires_at], () => {
    const open = place.querySelector("details")?.open && place.of === portrait.id;
    place.of = portrait.id;
    const listed = portrait.marks.filter((mark) => mark.shows === "taken out" || mark.wish);
    return element("details", { open }, element("summary", { "data-key": "more" }, icon("down"), say("client.more")),
      choices.length > 1 && element("section", {}, element("h2", {}, say("client.each")),
        portrait.people.map((person) => inOrder(person.steps).map((step) => eachStep(page, portrait, person, step)))),
      element("p", { class: "quiet" }, say("client.kept")),
      portrait.marks.length > 0 && element("section", {}, element("h2", {}, say("client.spots", { count: portrait.marks.length })),
        element("p", { class: "quiet" }, say("client.spots-how")),
        element("ol", { class: "spots" }, listed.map((mark) => element("li", {}, spot(page, portrait, mark)))),
        listed.length < portrait.marks.length && element("p", { class: "quiet rest" },
          say("client.spots-left", { count: portrait.marks.length - listed.length }))),
      portrait.changes.length > 0 && element("section", {}, element("h2", {}, say("client.said")),
        element("ol", { class: "said" }, portrait.changes.map(saidLine))),
      portrait.sign_off && portrait.sign_off.standing !== "void" && element("button", { type: "button", "data-key": "copy",
        onclick: () => page.keepCopy() }, icon("save"), say("client.copy")),
      element("section", { class: "notices" }, element("h2", {}, say("client.good-to-know")),
        element("ul", {}, ["client.nothing-for-good", "client.screens"].map((word) => element("li", {}, say(word))),
          NOTICES.map((one) => element("li", {}, say(`notice.${one}`))),
          proof.expires_at && element("li", {}, say("client.until", { date: sayDate(proof.expires_at) })))));
  });
}

function eachStep(page, portrait, person, step) {
  const name = `${person.id}.${step}`;
  const one = { people: [{ ...person, steps: [step] }] };
  return element("fieldset", {},
    element("legend", {}, portrait.people.length > 1 ? `${person.name ?? ""}: ${stepWord(step)}` : stepWord(step)),
    element("div", { class: "pick" }, page.proof.strengths.map((share) => element("label", {},
      element("input", { type: "radio", name, value: String(share), checked: share === page.choiceOf(portrait, person.id, step),
        "data-key": `${name}:${share}`, onchange: () => page.choose({ choices: { ...page.kept().choices, [name]: share } }) }),
      element("span", {}, share === 0 ? say("client.share.none") : shareIs(one, share))))));
}

function saidLine(change) {
  return element("li", {},
    element("p", { class: "quiet" }, say("client.said-by", { name: change.asked_by, date: sayDate(change.asked_at) }), " · ",
      say(`client.change.${change.standing}`)),
    element("q", {}, change.words),
    change.answer && [element("p", { class: "quiet" }, say("client.said-studio", { date: sayDate(change.answered_at) })),
      element("q", { class: "answer" }, change.answer)]);
}

/** What the picture shows of a spot at what is chosen, and what became of a wish. */
function spotSays(page, portrait, mark) {
  const taken = mark.shows === "taken out" && page.choiceOf(portrait, mark.person, "marks") > 0;
  if (mark.wish === "please remove" && mark.shows === "left") return say(mark.kind === "lasting" ? "client.will-ask" : "client.will-look");
  if (mark.wish === "leave it" && mark.shows === "taken out") return say("client.not-left");
  return say(taken ? "client.would-remove" : "client.would-leave");
}

/** A spot: its present state, and what the client wishes. */
function spot(page, portrait, mark, heading = "p") {
  const who = portrait.people.length > 1 ? portrait.people.find((person) => person.id === mark.person)?.name : null;
  const wish = (word, state) => element("label", {},
    element("input", { type: "radio", name: `${heading}-${mark.id}`, checked: mark.shows === state, disabled: !portrait.ready,
      "data-key": `wish:${mark.person}:${mark.number}:${word}`, onchange: () => page.wish(mark, word) }),
    element("span", {}, say(`client.wish.${word}`)));
  return element("div", { class: "spot", data: { shows: mark.shows } },
    element(heading, {}, element("strong", {}, say("client.spot", { number: mark.number })), who && ` ${who}`, " ",
      element("span", { class: "quiet" }, spotSays(page, portrait, mark))),
    element("fieldset", {}, element("legend", { class: "only-heard" }, say("client.spot", { number: mark.number })),
      element("div", { class: "pick two" }, wish("leave it", "left"), wish("please remove", "taken out"))),
    mark.wish && element("button", { type: "button", class: "quiet", "data-key": `unwish:${mark.person}:${mark.number}`,
      onclick: () => page.wish(mark, null) }, say("client.wish-back")));
}

/** The card of a spot that was tapped; where nothing was found, a change can be asked for. */
export function spotCard(page, portrait, { mark, place }) {
  const now = mark && portrait.marks.find((one) => one.person === mark.person && one.number === mark.number);
  return element("div", { class: "tapped" },
    now ? spot(page, portrait, now, "h2") : [element("h2", {}, say("client.no-spot")), element("p", {}, say("client.no-spot-how")),
      element("div", { class: "pair" }, ["please remove", "leave it"].map((wish) =>
        element("button", { type: "button", "data-key": `spot:${wish}`, "data-first": wish === "please remove" ? "" : null,
          onclick: () => page.point({ ...place, wish }) }, say(`client.spot-wish.${wish}`))))],
    element("div", { class: "pair" },
      element("button", { type: "button", "data-key": "here", onclick: () => page.point({ row: (now ?? place).row, column: (now ?? place).column }) },
        icon("letter"), say("client.ask-here")),
      element("button", { type: "button", "data-key": "away", "data-first": now ? "" : null, onclick: () => page.turn({ name: "choose" }) },
        say("close"))));
}
