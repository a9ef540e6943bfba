// What to buy: `cover --json` as a table. Its words stand below.
import { length } from "../picture.js";
import { filled, texts } from "../texts.js";
import { table } from "./elements.js";

const PENS = { lines: texts.penLines, heavy: texts.penHeavy, numerals: texts.penNumerals };
const metres = (mm) => `${(mm / 1000).toFixed(0)} m`;

export function buy(place, found) {
  const { canvas, pad, underlay } = found;
  const rows = [
    [texts.canvas, length(canvas.cut[0]), length(canvas.bought_width),
      filled(canvas.seam === null ? texts.canvasWhy : texts.canvasJoined, { across: length(canvas.cut[1]) })],
    [texts.pad, length(pad[0]), length(pad[1]), texts.padWhy],
    [texts.underlay, filled(texts.sheets, { count: underlay.sheets }),
      filled(texts.sheetSize, { long: length(underlay.sheet[0]), wide: length(underlay.sheet[1]) }),
      filled(texts.underlayWhy, { pieces: underlay.pieces.length, cuts: underlay.cuts })],
    [texts.screws, String(found.screws), "", texts.screwsWhy],
    [texts.staples, String(found.staples), "", texts.staplesWhy],
    ...found.markers.map((one) => [
      filled(texts.marker, { pen: PENS[one.pen] ?? one.pen }), String(one.count), "",
      filled(texts.markerWhy, { line: metres(one.ink_mm), lasts: metres(one.lasts_mm) }),
    ]),
  ];
  place.replaceChildren(table(texts.whatToBuy, [texts.what, texts.howMuch, texts.width, texts.why], rows));
}
