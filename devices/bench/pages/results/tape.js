// Tape marks: where they are set and what they would hold, by `control --json`.
import { figure, fine, unit } from "../lengths.js";
import { over } from "../picture.js";
import { filled, texts } from "../texts.js";
import { element, table } from "./elements.js";

export function tape(found) {
  const { forecast } = found;
  const rows = [
    [texts.worstLine, fine(forecast.worst_line), fine(forecast.tolerance)],
    [texts.worstStep, fine(forecast.worst_step), fine(forecast.step)],
  ];
  const show = element("button", {}, texts.showMarks);
  show.onclick = () => over(laid(found), filled(texts.marksShown, { unit: unit() }));
  return [element("article", { class: "card", "aria-label": texts.tapeMarks },
    element("p", { class: forecast.holds ? "big" : "big fault" }, forecast.holds ? texts.marksHold : texts.marksHoldNot),
    element("p", {}, filled(texts.marksCount, {
      marks: found.marks.length, readings: forecast.readings, hours: (forecast.minutes / 60).toFixed(1),
    })),
    table(texts.forecast, [texts.what, texts.atMost, texts.allowed], rows),
    element("div", { class: "row" }, show))];
}

// Each mark, and how far each section would lie off, in the job's unit.
function laid({ marks, forecast }) {
  const most = forecast.tolerance;
  return [
    ...marks.map((one) => ({ dot: one.at, ink: "#0f766e" })),
    ...forecast.sections.map((one) => ({ say: figure(one.error), at: one.at, above: true })),
    ...forecast.sections.filter((one) => one.error > most).map((one) => ({ dot: one.at, ink: "#b3140c" })),
  ];
}
