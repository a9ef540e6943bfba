// The square drawn on scrap, its corners lettered, with the six lengths typed where the tape lay.
import { svg } from "./elements.js";

export const RUNS = ["AB", "BC", "CD", "DA", "AC", "BD"];
export const VERNIERS = ["X", "Y", "PX", "PY"];
// Where each stands, in parts of the drawing's width and height.
const PLACES = {
  AB: [0.5, 0.9], BC: [0.85, 0.5], CD: [0.5, 0.1], DA: [0.15, 0.5], AC: [0.37, 0.68], BD: [0.63, 0.68],
};
const CORNERS = { A: [170, 810], B: [830, 810], C: [830, 90], D: [170, 90] };

export function place(box, run) {
  const [x, y] = PLACES[run];
  box.style.setProperty("--along", `${100 * x}%`);
  box.style.top = `${100 * y}%`;
  return box;
}

export function drawSquare(drawing) {
  const side = (from, to, dashed) => svg("line", {
    x1: CORNERS[from][0], y1: CORNERS[from][1], x2: CORNERS[to][0], y2: CORNERS[to][1],
    class: dashed ? "aid" : "side",
  });
  drawing.replaceChildren(
    ...RUNS.map(([from, to]) => side(from, to, from + to === "AC" || from + to === "BD")),
    ...Object.entries(CORNERS).map(([name, [x, y]]) => svg("text", {
      x: x < 500 ? x - 50 : x + 50, y: y < 500 ? y - 20 : y + 50, "text-anchor": "middle",
      "font-size": 56, "font-weight": 700, fill: "currentColor",
    }, name)),
  );
}
