// Where and how much the portrait was changed, on a scale from dark blue to light yellow that rises
// in lightness, so that it reads without telling red from green.

import { element, fill } from "../element.js";
import { say, sayNumber } from "../words.js";

const CODES_PER_DIFFERENCE = 20; // of the service's picture of change
const TOP = 8; // CIEDE2000 at the light end
const TICKS = [0, 2, 4, 6, 8];
const MOST = 255 / CODES_PER_DIFFERENCE; // beyond it the service tells no difference
const SIDE = 1400; // longest side asked for, pixels

// After cividis: J. R. Nunez, C. R. Anderton, R. S. Renslow, PLoS ONE 13(7), 2018; five of its colours.
const SCALE = [[0, 34, 78], [67, 78, 108], [125, 124, 120], [188, 174, 108], [254, 232, 56]];

export function scaleColour(part) {
  const at = Math.min(0.9999, Math.max(0, part)) * (SCALE.length - 1);
  const low = SCALE[Math.floor(at)], high = SCALE[Math.floor(at) + 1];
  return low.map((code, k) => Math.round(code + (high[k] - code) * (at % 1)));
}

export function changeMap(studio, viewer, portrait, on, toggled) {
  let picture = null, most = 0, asked = 0;
  const legend = element("div", { class: "legend", role: "status", hidden: !on });

  const draw = (context, { x, y, scale, pane }) => {
    if (!map.on || !picture || (viewer.view.compare === "beside" && pane.before)) return;
    context.fillStyle = "rgb(119 119 119 / 0.72)";
    context.fillRect(x, y, portrait.width * scale, portrait.height * scale);
    context.imageSmoothingEnabled = true;
    context.drawImage(picture, x, y, portrait.width * scale, portrait.height * scale);
  };
  viewer.above.push(draw);

  const look = async () => {
    if (!map.on) return;
    const number = ++asked;
    const factor = Math.min(1, SIDE / Math.max(portrait.width, portrait.height));
    const width = Math.max(1, Math.round(portrait.width * factor)), height = Math.max(1, Math.round(portrait.height * factor));
    try {
      const blob = await studio.service.picture(`/v1/portraits/${portrait.id}/change/full/${width},${height}.png`);
      const bitmap = await createImageBitmap(blob, { colorSpaceConversion: "none" });
      if (number !== asked) return;
      const canvas = new OffscreenCanvas(width, height);
      const context = canvas.getContext("2d", { willReadFrequently: true });
      context.drawImage(bitmap, 0, 0);
      const image = context.getImageData(0, 0, width, height);
      most = 0;
      for (let i = 0; i < image.data.length; i += 4) {
        const difference = image.data[i] / CODES_PER_DIFFERENCE;
        if (difference > most) most = difference;
        image.data.set(scaleColour(difference / TOP), i);
        image.data[i + 3] = difference ? 235 : 0;
      }
      context.putImageData(image, 0, 0);
      picture = canvas;
      drawLegend();
      viewer.redraw();
    } catch (error) {
      studio.trouble(error.message);
    }
  };

  const drawLegend = () => fill(legend,
    element("span", {}, say("change.scale")),
    element("span", { class: "bar", "aria-hidden": "true" }, TICKS.slice(0, -1).flatMap((tick, k) =>
      [0, 1, 2, 3].map((part) => {
        const piece = element("i");
        piece.style.background = `rgb(${scaleColour((k + part / 3.9) / (TICKS.length - 1)).join(" ")})`;
        return piece;
      }))),
    element("span", { class: "ticks", "aria-hidden": "true" }, TICKS.map((tick) => element("i", {}, tick === TOP ? `≥ ${tick}` : sayNumber(tick)))),
    element("span", {}, say(most < MOST ? "change.most" : "change.most-or-more", { most: sayNumber(most) })));

  const map = {
    on, legend, look,
    toggle() {
      map.on = !map.on;
      legend.hidden = !map.on;
      drawLegend();
      toggled(map.on);
      if (map.on) look();
      viewer.redraw();
    },
  };
  drawLegend();
  return map;
}
