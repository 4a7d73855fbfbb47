// What was found of burns and what was done about them, in words, from the facts of a redness layer.

import { SKIN } from "./parts.js";
import { say, sayList } from "../words.js";

const KINDS = ["taken off", "eased", "left", "alone"];

/** What was done about a burn; alone: there is too little unburnt skin to compare it with. */
const kindOf = (burn) => (burn.excess === null ? "alone" : burn.action);

/** Whether a burn goes when it is pointed at. */
export const wouldGo = (burn) => ["eased", "left"].includes(kindOf(burn)) && !burn.pointed_at;

/** Where burns are, in words. */
export const whereOf = (burns) => sayList(SKIN.filter((region) => burns.some((burn) => burn.regions.includes(region)))
  .map((region) => say(`found-on.${region}`)));

/** Sentences, each with the burns that it tells of; none for layers made before facts named burns. */
export function found({ burns, kept = 1 }) {
  if (!burns) return [];
  const told = KINDS.flatMap((kind) => {
    const mine = burns.filter((burn) => kindOf(burn) === kind && burn.regions.length);
    return mine.length ? [{ text: say(`found.${kind}`, { where: whereOf(mine) }), burns: mine }] : [];
  });
  if (!told.length) return [{ text: say("found.none"), burns: [] }];
  return kept < 1 ? [...told, { text: say("found.weakened"), burns: [] }] : told;
}
