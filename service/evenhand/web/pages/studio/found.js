// What was found of burns and what was done about them, in words, from the facts of a redness layer.

import { SKIN } from "./parts.js";
import { say, sayList } from "../words.js";

const KINDS = ["taken off", "eased", "left", "alone"];

/** What was done about a burn; alone: there is too little unburnt skin to compare it with. */
const kindOf = (burn) => (burn.excess === null ? "alone" : burn.action);

/** Whether a burn goes when it is pointed at. */
export const wouldGo = (burn) => ["eased", "left"].includes(kindOf(burn)) && !burn.pointed_at;

/** Regions of skin, in words. */
const named = (regions) => sayList(SKIN.filter((region) => regions.includes(region)).map((region) => say(`found-on.${region}`)));

/** Where burns are, in words. */
export const whereOf = (burns) => named(burns.flatMap((burn) => burn.regions));

/** Sentences, each with the burns that it tells of; none for layers made before facts named burns. */
export function found({ burns, kept = 1, left_at = [], looked = true, before = null }) {
  if (!burns) return [];
  const told = KINDS.flatMap((kind) => {
    const mine = burns.filter((burn) => kindOf(burn) === kind && burn.regions.length);
    return mine.length ? [{ text: say(`found.${kind}`, { where: whereOf(mine) }), burns: mine }] : [];
  });
  const tell = (key, where = []) => told.push({ text: say(`found.${key}`, { where: named(where) }), burns: [] });
  const any = told.length > 0, light = before?.balanced_by.length > 0;
  if (any && kept < 1) tell("weakened");
  if (left_at.length) tell("as-said", left_at);
  else if (!any) tell(light ? "no-redder" : looked ? "none" : "not-looked");
  if (before && !light) tell("light-unknown");
  else if (before && (any || left_at.length)) tell("compared");
  if (before?.missing.length) tell("not-shown", before.missing);
  return told;
}
