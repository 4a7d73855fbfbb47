// What was found of burns and what was done about them, in words, from the facts of a redness layer.

import { SKIN } from "./parts.js";
import { say, sayList } from "../words.js";

const ACTIONS = ["taken off", "eased", "left"];

/** Where burns are, in words. */
export const whereOf = (burns) => sayList(SKIN.filter((region) => burns.some((burn) => burn.regions.includes(region)))
  .map((region) => say(`found-on.${region}`)));

/** Sentences, each with the burns that it tells of; none for layers made before facts named burns. */
export function found({ burns, kept = 1 }) {
  if (!burns) return [];
  const told = ACTIONS.flatMap((action) => {
    const mine = burns.filter((burn) => burn.action === action && burn.regions.length);
    return mine.length ? [{ text: say(`found.${action}`, { where: whereOf(mine) }), burns: mine }] : [];
  });
  if (!told.length) return [{ text: say("found.none"), burns: [] }];
  return kept < 1 ? [...told, { text: say("found.weakened"), burns: [] }] : told;
}
