// What to buy: `cover --json` as a table. Its words stand below.
import { inInches, length } from "../lengths.js";
import { filled, texts } from "../texts.js";
import { table } from "./elements.js";

const PENS = { lines: texts.penLines, heavy: texts.penHeavy, numerals: texts.penNumerals };
// What is bought is never less than what is needed: up to the next inch, or centimetre.
function bought(mm) {
  const step = inInches() ? 25.4 : 10;
  return length(Math.ceil(mm / step - 1e-6) * step);
}

const metres = (mm) => `${(mm / 1000).toFixed(0)} m`;

export function buy(found) {
  const { canvas, pad, underlay } = found;
  const rows = [
    [texts.canvas, bought(canvas.cut[0]), length(canvas.bought_width),
      filled(canvas.seam === null ? texts.canvasWhy : texts.canvasJoined, { across: bought(canvas.cut[1]) })],
    ...(canvas.strip ? [[texts.strip, bought(canvas.strip[0]), bought(canvas.strip[1]), texts.stripWhy]] : []),
    [texts.pad, bought(pad[0]), bought(pad[1]), texts.padWhy],
    [texts.underlay, filled(texts.sheets, { count: underlay.sheets }),
      filled(texts.sheetSize, { long: length(underlay.sheet[0]), wide: length(underlay.sheet[1]) }),
      filled(texts.underlayWhy, { pieces: underlay.pieces.length, cuts: underlay.cuts })],
    [texts.screws, String(found.screws), "", texts.screwsWhy],
    [texts.staples, String(found.staples), "", texts.staplesWhy],
    ...found.markers.map((one) => [
      filled(texts.marker, { pen: one.pens.map((pen) => PENS[pen] ?? pen).join(", ") }), String(one.count), "",
      filled(texts.markerWhy, { line: metres(one.ink_mm), lasts: metres(one.lasts_mm) }),
    ]),
  ];
  return [table(texts.whatToBuy, [texts.what, texts.howMuch, texts.width, texts.why], rows)];
}
