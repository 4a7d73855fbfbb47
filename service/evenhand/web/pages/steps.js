// The order in which steps are told, whatever order they came in.

const ORDER = ["redness", "smoothing", "tone", "marks", "lasting marks", "eyes"];

export const inOrder = (steps, stepOf = (step) => step) =>
  [...steps].sort((one, other) => ORDER.indexOf(stepOf(one)) - ORDER.indexOf(stepOf(other)));
