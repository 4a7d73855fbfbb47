// What the client's page says of strengths, decisions and troubles, in words.

import { inOrder } from "../steps.js";
import { say, sayList, sayOr, sayPercent } from "../words.js";

export const stepWord = (step) => sayOr(`step.${step}`, step);

/** A trouble in the reader's language, where there is a text for its kind. */
export const sayTrouble = (error) => error.status === 0 ? error.message : sayOr(`client.trouble.${error.kind}`, error.message);

/** Strengths as the picture shows them: the studio's own times the chosen share of it. */
export const applied = (portrait, choices) => choices.map(({ person, step, strength }) => ({ person, step,
  strength: strength * (portrait.people.find((one) => one.id === person)?.strengths[step] ?? 1) }));

/** The least and the most of some strengths, as one percentage or a span of two. */
function span(strengths) {
  const [least, most] = [Math.min(...strengths), Math.max(...strengths)];
  return sayPercent(least) === sayPercent(most) ? sayPercent(most) : say("client.span", { least: sayPercent(least), most: sayPercent(most) });
}

/** How much a share is of everything that was changed in a portrait, as a percentage. */
export const shareIs = (portrait, share) =>
  span(portrait.people.flatMap((person) => person.steps.map((step) => share * person.strengths[step])));

/** Every step with its strength, in one line. */
export function sayApplied(strengths) {
  const steps = inOrder([...new Set(strengths.map((one) => one.step))]);
  return sayList(steps.map((step) => say("client.step-at", { step: sayOr(`client.step.${step}`, step),
    share: span(strengths.filter((one) => one.step === step).map((one) => one.strength)) })));
}

/** How a portrait stands with the client: an icon's name, and a word. */
export function standingOf(portrait) {
  const last = portrait.changes.at(-1);
  if (last?.standing === "asked") return "asked";
  if (portrait.sign_off?.standing === "valid") return "approved";
  if (last?.standing === "answered" && !signedSince(portrait, last)) return "answered";
  return portrait.sign_off?.standing === "stale" ? "stale" : "open";
}

const signedSince = (portrait, change) => portrait.sign_off && portrait.sign_off.signed_at > change.answered_at && portrait.sign_off.standing !== "stale";

export const ICONS = { asked: "with-the-client", approved: "signed", answered: "letter", stale: "stale", open: null };
