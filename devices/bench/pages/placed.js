// A small drawing of the table from above, by the figures that the machine's words came with: the
// sections, the machine where it goes, the distances to its corner, and the marks; or no more of it
// than the machine reaches, with the marks by name.
import { svg as part } from "./results/elements.js";

const WIDE = 1000;
const ROOM = { left: 90, right: 40, above: 40, below: 90 };
const CLOSE = { left: 60, right: 60, above: 60, below: 60 };

// Where table millimetres come to lie on the drawing; all of `points` is on it.
function frameOf(points, room) {
  const xs = points.map((one) => one[0]), ys = points.map((one) => one[1]);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const scale = (WIDE - room.left - room.right) / (x1 - x0);
  const high = (y1 - y0) * scale + room.above + room.below;
  const to = ([x, y]) => [room.left + (x - x0) * scale, high - room.below - (y - y0) * scale];
  return { high, to, scale };
}

function rectangle(to, [x0, y0, x1, y1], attributes) {
  const [left, low] = to([x0, y0]), [right, up] = to([x1, y1]);
  return part("rect", { x: left, y: up, width: right - left, height: low - up, ...attributes });
}

function line(from, until, attributes) {
  return part("line", { x1: from[0], y1: from[1], x2: until[0], y2: until[1], ...attributes });
}

// From the corner at which the machine counts from 0, its X and its Y.
function ownAxes({ to, scale }, { window: [x0, y0, x1, y1], axes }) {
  const towards = { x: [0, 0], y: [0, 0] };
  const corner = { x: x0, y: y0 };
  axes.forEach((axis, at) => {
    const along = axis[1] === "x" ? 0 : 1, back = axis[0] === "-";
    towards["xy"[at]][along] = back ? -1 : 1;
    if (back) corner[axis[1]] = along ? y1 : x1;
  });
  // On a large table the machine is drawn small, and its letters are not.
  const size = Math.min(x1 - x0, y1 - y0), reach = Math.max(0.3 * size, 60 / scale);
  // A little inside, so that they lie on no edge.
  corner.x += 0.07 * size * (towards.x[0] + towards.y[0]);
  corner.y += 0.07 * size * (towards.x[1] + towards.y[1]);
  const from = to([corner.x, corner.y]);
  return Object.entries(towards).flatMap(([name, [dx, dy]]) => {
    const until = to([corner.x + dx * reach, corner.y + dy * reach]);
    const tip = to([corner.x + dx * reach + dx * 20 / scale, corner.y + dy * reach + dy * 20 / scale]);
    const [px, py] = [dx ? 0 : 22, dx ? 22 : 0];
    return [
      line(from, until, { class: "own" }),
      part("polygon", {
        class: "own tip",
        points: [tip, [until[0] - px / 2, until[1] - py / 2], [until[0] + px / 2, until[1] + py / 2]]
          .map((one) => one.join(",")).join(" "),
      }),
      // Past its tip, so that the two never meet.
      part("text", { x: tip[0] + 22 * dx, y: tip[1] - 24 * dy, class: "name" }, name.toUpperCase()),
    ];
  });
}

// How far along and across the corner nearest the zero corner lies, measured beside the table.
function distances(frame, { window: [x0, y0], along, across }) {
  const { to, high } = frame;
  const below = high - ROOM.below + 34, left = ROOM.left - 34;
  const [atX, atY] = to([x0, y0]), [zeroX, zeroY] = to([0, 0]);
  return [
    line([zeroX, below], [atX, below], { class: "measure" }),
    line([atX, atY], [atX, below + 10], { class: "lead" }),
    part("text", { x: Math.max(zeroX, 10), y: below + 44, class: "figure" }, along),
    line([left, zeroY], [left, atY], { class: "measure" }),
    line([atX, atY], [left - 10, atY], { class: "lead" }),
    part("text", {
      class: "figure", transform: `translate(${left - 14} ${Math.min(zeroY, high - 8)}) rotate(-90)`,
    }, across),
    part("circle", { cx: atX, cy: atY, r: 13, class: "corner" }),
  ];
}

function fence(to, { fence: rail, top }) {
  if (!rail) return [];
  const far = Math.max(...top.map((one) => one[0]));
  return [line(to([rail.zero_end, rail.face]), to([far, rail.face]), { class: "fence" })];
}

// Beside its mark, towards the side where there is room.
function named(to, one) {
  const [x, y] = to(one.at), left = x > WIDE / 2;
  return part("text", {
    x: x + (left ? -40 : 40), y: y + 16, class: one.now ? "mark-name now" : "mark-name", "text-anchor": left ? "end" : "start",
  }, one.id);
}

function mark(to, one, size) {
  const [cx, cy] = to(one.at);
  const kind = one.now ? "now" : one.read ? "read" : "open";
  const drawn = [part("circle", { cx, cy, r: size, class: `mark ${kind}` })];
  if (one.now) drawn.push(part("circle", { cx, cy, r: size * 2.1, class: "mark ring" }));
  return drawn;
}

// `placed` is what was told of the set-down; `marks` those that are read now, else those to come.
export function place(svg, placed, marks, words) {
  const [x0, y0, x1, y1] = placed.window, reach = [[x0, y0], [x1, y1]];
  const frame = marks ? frameOf(reach, CLOSE) : frameOf([...placed.top, ...reach], ROOM);
  const { to, high } = frame;
  svg.setAttribute("viewBox", `0 0 ${WIDE} ${Math.round(high)}`);
  svg.setAttribute("aria-label", words);
  const hatch = `hatch-${svg.id}`;
  const pattern = part("pattern", { id: hatch, width: 16, height: 16, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  pattern.append(line([0, 0], [0, 16], { class: "hatch" }));
  svg.replaceChildren(
    pattern,
    part("polygon", { class: "top", points: placed.top.map((one) => to(one).join(",")).join(" ") }),
    ...placed.sections.map((one) => rectangle(to, one.core, one.done ? { class: "done", fill: `url(#${hatch})` } : { class: "open" })),
    rectangle(to, placed.window, { class: "machine" }),
    ...fence(to, placed),
    ...(marks ? [] : distances(frame, placed)),
    ...(marks ? [] : ownAxes(frame, placed)),
    ...(marks ?? placed.marks).flatMap((one) => mark(to, one, marks ? 18 : 9)),
    ...(marks ?? []).map((one) => named(to, one)),
  );
}
