// The proof: each distance drawn while it is typed, the verdict, and where the cover is off.
import { figure, fine, signed, unit } from "../lengths.js";
import { over } from "../picture.js";
import { filled, texts } from "../texts.js";
import { told } from "../words.js";
import { element, table } from "./elements.js";

const LIMITS = { total: texts.total, square: texts.square, neighbours: texts.neighbours, step: texts.step, straight: texts.straight };
const OUTCOMES = { pass: texts.pass, fail: texts.fail, "cannot tell": texts.cannotTell, kept: texts.pass };
const WHOLE = {
  along: texts.longer, across: texts.wider, skew: texts.skew, creep: texts.creep, bow: texts.bow, fan: texts.fan,
};
const FITS_95 = 1.96;

// One distance on the picture, from end to end; a thread is held at a point.
export function drawDistance(one) {
  const [from, to] = one.ends;
  const middle = [(from[0] + to[0]) / 2, (from[1] + to[1]) / 2];
  over([
    { line: [from, to] }, { dot: from }, { dot: to }, { say: one.id, at: middle },
  ], filled(texts.distanceShown, { id: one.id }));
}

export function verdict(found) {
  const rows = Object.entries(found.limits).map(([name, one]) => [
    LIMITS[name] ?? name, fine(Math.abs(one.at_most)), fine(one.allowed), one.sections.join(", "), OUTCOMES[one.outcome] ?? told(one.outcome),
  ]);
  const whole = Object.entries(found.whole).map(([name, one]) => [
    WHOLE[name] ?? name, filled(texts.within, { size: signed(one.mm), doubt: fine(FITS_95 * one.sd) }),
  ]);
  const show = element("button", {}, texts.showMap);
  show.onclick = () => map(found);
  map(found);
  return [element("article", { class: "card", "aria-label": texts.verdict },
    element("p", { class: found.outcome === "fail" ? "big fault" : "big" }, OUTCOMES[found.outcome] ?? told(found.outcome)),
    table(texts.verdict, [texts.what, texts.atMost, texts.allowed, texts.where, texts.outcome], rows),
    table(texts.wholeCover, [texts.what, texts.off], whole),
    element("div", { class: "row" }, show))];
}

// Each section's own error as an arrow, drawn so much too long that the allowed one is half a
// section; dashed where it cannot be told, red where it is more than is allowed.
function map(found) {
  const cores = Object.entries(found.cores);
  const off = new Map(cores.map(([name]) => [name, { along: 0, across: 0, certain: false }]));
  for (const one of found.own) {
    const held = one.sections.length === 1 ? off.get(one.sections[0]) : undefined;
    if (!held) continue;
    held[one.axis] = one.mm;
    held.certain ||= one.certain;
  }
  const sizes = cores.map(([, [x0, y0, x1, y1]]) => Math.min(x1 - x0, y1 - y0));
  const times = Math.max(1, Math.round(Math.min(...sizes) / 2 / found.tolerance));
  const untold = new Set([...found.untold, ...found.in_doubt]);
  const items = cores.flatMap(([name, [x0, y0, x1, y1]]) => {
    const { along, across, certain } = off.get(name);
    const size = Math.hypot(along, across), over = size > found.tolerance;
    const middle = [(x0 + x1) / 2, (y0 + y1) / 2];
    const until = [middle[0] + along * times, middle[1] + across * times];
    return [
      { box: [x0, y0, x1, y1], dashed: untold.has(name), ink: "#5a564f", fill: over ? "#b3140c33" : certain ? "#1f5fa822" : "#00000008" },
      { line: [middle, until], arrow: true, ink: over ? "#b3140c" : "#1f5fa8" },
      { say: figure(size), at: [middle[0], y0 + (y1 - y0) * 0.2] },
    ];
  });
  over(items, filled(texts.mapShown, { times, unit: unit() }));
}
