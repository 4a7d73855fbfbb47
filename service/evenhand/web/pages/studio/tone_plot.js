// Lightness and hue of skin against the reference, as a small plot.

const SVG = "http://www.w3.org/2000/svg";
const SIDE = 96;
const EDGE = 8; // room for a sign at the rim
const LEAST = 3; // of the plot's reach, L* and degrees, so that small differences look small

/** Lightness L* and hue angle in degrees, 0 to 360, of a colour in L*a*b*. */
export function toneOf([lightness, a, b]) {
  return { lightness, hue: ((Math.atan2(b, a) * 180) / Math.PI + 360) % 360 };
}

/**
 * A plot with the reference in its middle.
 *
 * @param {{lab, lab_matched, reference_lab}} facts  of the portrait's layer
 * @param {object[]} all  those of every portrait beside it: all plots reach equally far
 * @param {string} label  what it shows, in words
 */
export function tonePlot(facts, all, label) {
  const offsets = all.flatMap((one) => [one.lab, one.lab_matched].map((lab) => offset(lab, one.reference_lab)));
  const reach = (axis) => Math.max(LEAST, ...offsets.map((one) => Math.abs(one[axis])));
  const across = reach("hue"), up = reach("lightness"), half = SIDE / 2;
  const place = (lab) => {
    const from = offset(lab, facts.reference_lab);
    return { cx: half + (from.hue / across) * (half - EDGE), cy: half - (from.lightness / up) * (half - EDGE) };
  };
  const now = place(facts.lab), after = place(facts.lab_matched);
  const plot = part("svg", { viewBox: `0 0 ${SIDE} ${SIDE}`, class: "tone-plot", role: "img", "aria-label": label });
  plot.append(
    part("path", { class: "cross", d: `M${half} 0V${SIDE}M0 ${half}H${SIDE}` }),
    part("path", { class: "way", d: `M${now.cx} ${now.cy}L${after.cx} ${after.cy}` }),
    part("circle", { class: "now", ...now, r: 5 }),
    part("circle", { class: "after", ...after, r: 3.5 }));
  return plot;
}

function offset(lab, reference) {
  const here = toneOf(lab), there = toneOf(reference);
  return { lightness: here.lightness - there.lightness, hue: ((here.hue - there.hue + 540) % 360) - 180 };
}

function part(tag, attributes) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  return made;
}
