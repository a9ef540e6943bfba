// Tape marks: where they are set and what they would hold, by `control --json`.
import { over } from "../picture.js";
import { filled, texts } from "../texts.js";
import { element, mm, table } from "./elements.js";

export function tape(found) {
  const { forecast } = found;
  const rows = [
    [texts.worstLine, mm(forecast.worst_line), mm(forecast.tolerance)],
    [texts.worstStep, mm(forecast.worst_step), mm(forecast.step)],
  ];
  const show = element("button", {}, texts.showMarks);
  show.onclick = () => over(laid(found), texts.marksShown);
  return [element("article", { class: "card", "aria-label": texts.tapeMarks },
    element("p", { class: forecast.holds ? "big" : "big fault" }, forecast.holds ? texts.marksHold : texts.marksHoldNot),
    element("p", {}, filled(texts.marksCount, {
      marks: found.marks.length, readings: forecast.readings, hours: (forecast.minutes / 60).toFixed(1),
    })),
    table(texts.forecast, [texts.what, texts.atMost, texts.allowed], rows),
    element("div", { class: "row" }, show))];
}

// Each mark, and how far each section would lie off, in mm.
function laid({ marks, forecast }) {
  const most = forecast.tolerance;
  return [
    ...marks.map((one) => ({ dot: one.at, ink: "#0f766e" })),
    ...forecast.sections.map((one) => ({ say: one.error.toFixed(1), at: one.at, above: true })),
    ...forecast.sections.filter((one) => one.error > most).map((one) => ({ dot: one.at, ink: "#b3140c" })),
  ];
}
