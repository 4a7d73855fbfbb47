// Making a proof: a check before, which strengths are offered, how long the link opens; then the
// link, copied or in a text for a mail.

import { element, fill, icon } from "../element.js";
import { say, sayDate, sayList, sayPercent } from "../words.js";
import { copied } from "./parts.js";

const OFFERS = { three: [0, 0.5, 1], four: [0, 0.5, 0.75, 1] };
const LOOK_EVERY_MS = 1500; // while something is still being computed

/** What stands in the way of showing portraits, in sentences with a way to put it right. */
async function obstacles(studio, shoot, wanted) {
  const [portraits, found, jobs] = await Promise.all(["portraits", "people", "jobs"].map((what) => studio.service.get(`/v1/shoots/${shoot.id}/${what}`)));
  const ids = new Set(wanted.map((one) => one.id));
  const mine = portraits.filter((one) => ids.has(one.id)), there = found.filter((one) => ids.has(one.portrait));
  const asked = (await studio.service.get(`/v1/shoots/${shoot.id}/permissions`)).said.map((one) => one.name);
  const unnamed = there.filter(({ person }) => !person.name).length;
  const unasked = [...new Set(there.map(({ person }) => person.name).filter((name) => name && !asked.includes(name)))];
  const failed = mine.filter((one) => one.state === "working"
    && jobs.find((job) => job.portrait_id === one.id && job.kind === "compute layers")?.state === "failed");
  const working = mine.filter((one) => ["new", "working"].includes(one.state) && !failed.includes(one));
  const unreadable = mine.filter((one) => one.state === "unreadable");
  const people = `#/shoot/${shoot.id}/people`;
  return {
    working: working.length,
    all: [
      unnamed > 0 && [say("proof.unnamed", { count: unnamed }), people],
      unasked.length > 0 && [say("proof.unasked", { names: sayList(unasked) }), people],
      failed.length > 0 && [say("proof.failed", { names: sayList(failed.map((one) => one.name)) }), `#/shoot/${shoot.id}`],
      unreadable.length > 0 && [say("proof.unreadable", { names: sayList(unreadable.map((one) => one.name)) }), `#/shoot/${shoot.id}`],
      working.length > 0 && [say("proof.working", { done: mine.length - working.length, of: mine.length }), null],
    ].filter(Boolean),
  };
}

export function proofDialog(studio, shoot, portraits) {
  const trouble = element("p", { class: "wrong", role: "alert" });
  const check = element("div", { class: "check", role: "status" });
  const message = element("textarea", { id: "proof-message", maxlength: "4000", rows: "3" });
  const days = element("input", { id: "proof-days", type: "number", min: "1", max: "365", value: "14", required: true });
  const offer = element("select", { id: "proof-offer" }, Object.entries(OFFERS).reverse().map(([name, strengths]) =>
    element("option", { value: name }, strengths.map(sayPercent).join(" · "))));
  const button = element("button", { class: "main", disabled: true }, say("proof.make"));
  let told = "";

  const look = async () => {
    if (!dialog.isConnected || !check.isConnected) return;
    try {
      const { all, working } = await obstacles(studio, shoot, portraits);
      button.disabled = all.length > 0;
      if (JSON.stringify(all) !== told) {
        told = JSON.stringify(all);
        fill(check, all.length ? element("ul", {}, all.map(([text, href]) =>
          element("li", {}, icon(href ? "warning" : "working"), element("span", {}, text),
            href && element("a", { href, onclick: () => dialog.close() }, say("proof.put-right")))))
          : element("p", {}, icon("check"), " ", say("proof.all-well")));
      }
      if (working) setTimeout(look, LOOK_EVERY_MS);
    } catch (error) {
      trouble.textContent = error.message;
    }
  };
  const make = async (event) => {
    event.preventDefault();
    try {
      const made = await studio.service.post(`/v1/shoots/${shoot.id}/proofs`, {
        portraits: portraits.map((portrait) => portrait.id), strengths: OFFERS[offer.value],
        lasts_days: Number(days.value), message: message.value });
      studio.changed();
      showLink(studio, shoot, dialog, made.link, message.value);
    } catch (error) {
      trouble.textContent = error.message;
      look();
    }
  };
  const dialog = element("dialog", { "aria-labelledby": "proof-title", onclose: () => dialog.remove() },
    element("form", { onsubmit: make },
      element("h2", { id: "proof-title" }, say("proof.new")),
      element("p", {}, say("proof.of", { count: portraits.length })),
      check,
      element("label", { for: "proof-offer" }, say("proof.strengths")), offer,
      element("label", { for: "proof-days" }, say("proof.days")), days,
      element("label", { for: "proof-message" }, say("proof.message")), message,
      element("p", { class: "quiet" }, say("proof.shows")), trouble,
      element("div", { class: "row" }, button,
        element("button", { type: "button", onclick: () => dialog.close() }, say("close")))));
  document.body.append(dialog);
  dialog.showModal();
  look();
}

/** A link that was made before, once more. */
export async function linkDialog(studio, shoot, proof) {
  const link = await studio.service.get(`/v1/proofs/${proof.id}/link`);
  const dialog = element("dialog", { "aria-labelledby": "proof-title", onclose: () => dialog.remove() });
  document.body.append(dialog);
  dialog.showModal();
  showLink(studio, shoot, dialog, link, proof.message);
}

function showLink(studio, shoot, dialog, made, message) {
  const address = made.url ?? `${location.origin}${made.path}`;
  const link = element("input", { id: "proof-link", readonly: true, value: address });
  const text = element("textarea", { id: "proof-mail", readonly: true, rows: "7" });
  text.value = say("proof.mail", { shoot: shoot.name, message: message ? `${message}\n\n` : "", link: address, date: sayDate(made.expires_at) });
  const told = element("p", { role: "status", class: "told" });
  const copy = (field) => async () => (told.textContent = await copied(field));
  const mail = `mailto:?subject=${encodeURIComponent(say("proof.mail-subject", { shoot: shoot.name }))}&body=${encodeURIComponent(text.value)}`;
  fill(dialog, element("h2", { id: "proof-title" }, say("proof.made")),
    element("label", { for: "proof-link" }, say("proof.link")), link,
    !made.url && ["localhost", "127.0.0.1", "[::1]"].includes(location.hostname) && element("p", { class: "wrong" }, say("proof.only-here")),
    element("div", { class: "row" }, element("button", { type: "button", class: "main", onclick: copy(link) }, icon("copy"), say("proof.copy")), told),
    element("p", { class: "quiet" }, say("proof.until", { date: sayDate(made.expires_at) }), " ", say("proof.again")),
    element("details", {}, element("summary", {}, element("label", { for: "proof-mail" }, say("proof.mail-text"))), text,
      element("div", { class: "row" }, element("button", { type: "button", onclick: copy(text) }, icon("copy"), say("proof.copy-text")),
        element("a", { class: "button", href: mail }, icon("letter"), say("proof.write")))),
    element("div", { class: "row" }, element("button", { type: "button", onclick: () => dialog.close() }, say("close"))));
  link.focus();
  link.select();
}
