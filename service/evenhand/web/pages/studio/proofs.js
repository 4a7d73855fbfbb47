// Proofs, the sign-offs that come in, and the finals made from them.

import { element, icon, refill } from "../element.js";
import { say, sayDate, sayPercent } from "../words.js";
import { changesPanel } from "./changes.js";
import { crumbs, inOrder, Pictures, stateSign, stepWord, tabs } from "./parts.js";
import { linkDialog } from "./proof_dialog.js";
import { studioSettingsButton } from "./studio_settings.js";

/** Choices person by person, each in the order of the steps. */
const ofEach = (choices) => [...new Set(choices.map((choice) => choice.person))].flatMap((person) =>
  inOrder(choices.filter((choice) => choice.person === person), (choice) => choice.step));

export async function proofsView(studio, [, id]) {
  const shoot = await studio.service.get(`/v1/shoots/${id}`);
  const pictures = new Pictures(studio.service);
  const proofs = element("ul", { class: "cards" });
  const signed = element("ul", { class: "cards" });
  const finals = element("ul", { class: "cards" });
  const jobs = element("div", { role: "status" });
  const changes = changesPanel(studio, id);
  const pack = element("button", { type: "button", "data-key": "pack", onclick: () => start("delivery", {}) }, say("finals.pack"));
  const all = element("button", { type: "button", class: "main", "data-key": "make-all", onclick: () => finalsDialog() }, say("finals.all"));
  const unsigned = element("details", { class: "unsigned" });
  const left = element("div", { class: "left", role: "status" });
  const root = element("div", { "data-page": "wide" },
    element("h1", {}, shoot.name), tabs(shoot, "proofs"), changes.root,
    element("section", {}, element("div", { class: "row head" }, element("h2", {}, say("sign-offs")), all), left, signed, unsigned),
    element("section", {}, element("h2", {}, say("finals")), jobs, finals, pack,
      element("p", { class: "quiet" }, say("finals.pack-holds")),
      element("p", { class: "notice" }, say("notice.labelling"))),
    element("section", {}, element("h2", {}, say("proofs")), element("p", { class: "quiet" }, say("proofs.how")), studioSettingsButton(studio), proofs));
  const known = new Set();
  let first = true;

  const start = async (what, json, portrait) => {
    try {
      await studio.service.post(portrait ? `/v1/portraits/${portrait}/final` : `/v1/shoots/${id}/${what}`, json);
      studio.changed();
    } catch (error) {
      studio.trouble(error.message);
    }
  };

  const withoutSignOff = (portrait) => {
    const reason = element("textarea", { id: "reason", required: true, rows: "3" });
    const dialog = element("dialog", { "aria-labelledby": "override-title", onclose: () => dialog.remove() },
      element("form", { onsubmit: (event) => {
        event.preventDefault();
        dialog.close();
        start("final", { override: reason.value }, portrait.id);
      } },
        element("h2", { id: "override-title" }, say("finals.without", { name: portrait.name })),
        element("label", { for: "reason" }, say("finals.reason")), reason,
        element("div", { class: "row" }, element("button", { class: "main" }, say("finals.make")),
          element("button", { type: "button", onclick: () => dialog.close() }, say("close")))));
    document.body.append(dialog);
    dialog.showModal();
  };

  /** All finals in one act: how they are named, in which form, how large. */
  const finalsDialog = () => {
    const trouble = element("p", { class: "wrong", role: "alert" });
    const pattern = element("input", { id: "final-pattern", required: true, maxlength: "200", value: "{portrait}" });
    const side = element("input", { id: "final-side", type: "number", min: "64", max: "30000" });
    const sideLabel = element("label", { for: "final-side" }, say("finals.side"));
    const format = element("select", { id: "final-format", onchange: () => askSide() },
      ["original", "jpeg", "tiff"].map((one) => element("option", { value: one }, say(`finals.format.${one}`))));
    const askSide = () => { for (const part of [side, sideLabel]) part.hidden = format.value === "original"; };
    askSide();
    const make = async (event) => {
      event.preventDefault();
      try {
        const told = await studio.service.post(`/v1/shoots/${id}/finals`, { pattern: pattern.value, format: format.value,
          longest_side: format.value === "original" || !side.value ? null : Number(side.value) });
        dialog.close();
        studio.news([say("finals.asked", { count: told.jobs.length }),
          told.made.length > 0 && say("finals.already", { count: told.made.length })].filter(Boolean).join(" "));
        refill(left, told.left, () => element("ul", {}, told.left.map((one) =>
          element("li", { class: "quiet" }, say("finals.left", { name: one.name, why: one.why })))));
        studio.changed();
      } catch (error) {
        trouble.textContent = error.message;
      }
    };
    const dialog = element("dialog", { "aria-labelledby": "finals-title", onclose: () => dialog.remove() },
      element("form", { onsubmit: make },
        element("h2", { id: "finals-title" }, say("finals.all")),
        element("label", { for: "final-pattern" }, say("finals.name")), pattern,
        element("p", { class: "quiet" }, say("finals.name-how")),
        element("label", { for: "final-format" }, say("finals.format")), format, sideLabel, side, trouble,
        element("div", { class: "row" }, element("button", { class: "main" }, say("finals.all")),
          element("button", { type: "button", onclick: () => dialog.close() }, say("close")))));
    document.body.append(dialog);
    dialog.showModal();
  };

  const download = async (path, name) => {
    const blob = await studio.service.picture(path);
    const link = element("a", { href: URL.createObjectURL(blob), download: name });
    link.click();
    URL.revokeObjectURL(link.href);
  };

  const look = async () => {
    const get = (what) => studio.service.get(`/v1/shoots/${id}/${what}`);
    const [portraits, people, proofList, signList, finalList, jobList] = await Promise.all(
      ["portraits", "people", "proofs", "sign-offs", "finals", "jobs"].map(get));
    await changes.look(portraits);
    const named = new Map(portraits.map((portrait) => [portrait.id, portrait]));
    const names = new Map(people.map(({ person }) => [person.id, person.name]));
    for (const one of signList.filter((sign) => !known.has(sign.id))) {
      known.add(one.id);
      if (!first) studio.news(say("sign-offs.came", { name: one.signed_by, portrait: named.get(one.portrait_id)?.name }));
    }
    first = false;
    refill(proofs, [proofList, portraits], () => proofList.length ? proofList.map((proof) =>
      element("li", { class: "panel" },
        element("p", {}, element("strong", {}, proof.portraits.map((one) => named.get(one)?.name ?? "–").join(", "))),
        element("p", {}, say("proofs.made", { date: sayDate(proof.created_at) }), " · ",
          proof.open ? say("proofs.open", { date: sayDate(proof.expires_at) }) : say("proofs.closed")),
        proof.message && element("q", {}, proof.message),
        proof.open && element("button", { type: "button", "data-key": `link:${proof.id}`, onclick: () =>
          linkDialog(studio, shoot, proof).catch((error) => studio.trouble(error.message)) }, icon("link"), say("proofs.link")),
        proof.open && element("button", { type: "button", "data-key": `close:${proof.id}`, onclick: async () => {
          await studio.service.remove(`/v1/proofs/${proof.id}`).catch((error) => studio.trouble(error.message));
          studio.changed();
        } }, say("proofs.revoke"))))
      : element("li", { class: "empty" }, say("proofs.none")));
    const latest = signList.filter((one, k) => signList.findIndex((other) => other.portrait_id === one.portrait_id) === k);
    const made = new Set(finalList.filter((final) => !final.voided_at).map((final) => final.sign_off_id));
    refill(signed, [signList, portraits, people, [...made]], () => [
      ...latest.map((one) => signCard(one, named.get(one.portrait_id), names, made.has(one.id))),
      latest.length === 0 && element("li", { class: "empty" }, say("sign-offs.none"))]);
    const rest = portraits.filter((portrait) => !latest.some((one) => one.portrait_id === portrait.id));
    unsigned.hidden = !rest.length;
    refill(unsigned, rest.map((one) => [one.id, one.name, one.state]), () => [
      element("summary", { "data-key": "unsigned" }, say("sign-offs.missing", { count: rest.length })),
      element("ul", {}, rest.map((portrait) => element("li", { class: "row" },
        element("a", { href: `#/portrait/${portrait.id}` }, portrait.name), stateSign(portrait.state),
        element("button", { type: "button", class: "quiet", "data-key": `without:${portrait.id}`,
          onclick: () => withoutSignOff(portrait) }, say("finals.without-short")))))]);
    refill(finals, [finalList, portraits], () => finalList.length ? finalList.map((final) =>
      element("li", { class: "panel" },
        element("p", {}, element("strong", {}, final.name)),
        element("p", { class: "quiet" }, say(`finals.is.${final.format}`), final.longest_side && `, ${final.longest_side} px`, " · ", sayDate(final.created_at), final.voided_at && ` · ${say("finals.void", { why: final.void_reason ?? "" })}`),
        final.override && element("q", {}, final.override),
        final.sha256 && element("button", { type: "button", "data-key": `get:${final.id}`,
          onclick: () => download(`/v1/finals/${final.id}/file`, final.name) }, say("finals.get"))))
      : element("li", { class: "empty" }, say("finals.none")));
    pack.disabled = !finalList.some((final) => final.sha256);
    all.hidden = !latest.some((one) => one.standing === "valid");
    refill(jobs, jobList, () => [...making(jobList),
      ...jobList.filter((job) => job.kind === "make final" && job.state === "failed").map((job) => jobLine(job, named.get(job.portrait_id)?.name)),
      ...jobList.filter((job) => job.kind === "pack finals").slice(0, 1).map((job) => jobLine(job))]);
  };

  /** How far the finals are that are being made. */
  const making = (jobList) => {
    const mine = jobList.filter((job) => job.kind === "make final"), open = mine.filter((job) => ["waiting", "running"].includes(job.state));
    if (!open.length) return [];
    const since = open.map((job) => job.created_at).sort()[0];
    const batch = mine.filter((job) => job.created_at >= since);
    const text = say("finals.making", { done: batch.length - open.length + 1, of: batch.length });
    return [element("div", { class: "busy" }, element("span", {}, text),
      element("progress", { max: batch.length, value: batch.length - open.length, "aria-label": text }))];
  };

  const jobLine = (job, name) => element("p", { class: "job" },
    name && element("strong", {}, name), " ",
    job.state === "done" ? say(`job.${job.kind}.done`) : job.state === "failed" ? say(`job.${job.kind}.failed`)
      : job.state === "cancelled" ? say(`job.${job.kind}.cancelled`)
      : [say(`job.${job.kind}`), element("progress", { max: 1, value: job.progress, "aria-label": say(`job.${job.kind}`) })],
    job.trouble && element("span", { class: "wrong" }, ` ${job.trouble} ${job.advice ?? ""}`),
    job.result?.files && ` ${say("finals.packed", { count: job.result.finals.length })} `,
    (job.result?.files ?? []).map((file) => element("button", { type: "button", "data-key": `${job.id}:${file.name}`,
      onclick: () => download(`/v1/jobs/${job.id}/files/${file.name}`, file.name) }, icon("save"), say(`finals.file.${file.name.split(".").pop()}`))));

  const signCard = (one, portrait, names, made) => {
    const image = element("img", { alt: say("sign-offs.picture", { name: portrait?.name }), width: portrait?.width, height: portrait?.height });
    pictures.into(image, `/v1/sign-offs/${one.id}/picture`);
    return element("li", { class: "panel signed" }, image,
      element("div", {},
        element("p", {}, element("a", { href: `#/portrait/${one.portrait_id}` }, portrait?.name ?? "–"), " ", stateSign(one.standing)),
        element("p", {}, say("sign-offs.by", { name: one.signed_by, date: sayDate(one.signed_at) })),
        one.applied.length > 0 && element("ul", {}, ofEach(one.applied).map((choice) =>
          element("li", {}, `${names.get(choice.person) ?? "–"}: ${stepWord(choice.step)} ${sayPercent(choice.strength)}`))),
        one.note && element("q", {}, one.note),
        one.standing === "valid"
          ? element("button", { type: "button", class: made ? null : "main", "data-key": `final:${one.id}`,
              onclick: () => start("final", {}, one.portrait_id) }, say(made ? "finals.again" : "finals.make"))
          : element("p", {}, say(`sign-offs.${one.standing}`, { why: one.void_reason ?? "" }), " ",
              element("button", { type: "button", "data-key": `without:${one.portrait_id}`,
                onclick: () => withoutSignOff(portrait) }, say("finals.without-short")))));
  };

  await look();
  return { root, look, title: `${say("tabs.proofs")} · ${shoot.name}`, crumbs: crumbs(shoot, say("tabs.proofs")),
           stop: () => { pictures.stop(); changes.stop(); } };
}
