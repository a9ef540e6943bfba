// The marking as `layout --json` gives it, drawn by the browser: nothing is laid out here. Zoomed
// and panned by wheel, fingers, keys and buttons; the pointer reads lengths from zero.

import { length } from "./lengths.js";
import { filled, texts } from "./texts.js";

const INK = {
  cross: "#3a3f47", long: "#3a3f47", hem: "#1f5fa8", numeral: "#111111", tick: "#3a3f47",
  bias: "#7a5195", witness: "#c2410c",
};
const canvas = document.getElementById("marking");
const pen = canvas.getContext("2d", { alpha: false });
const pointer = document.getElementById("pointer");
const fingers = new Map();

let layout = null;
let layers = [];
let corners = [];
let look = null;
let isWhole = true;
let drawnPath = null;
let penAt = null;
let tickedPath = null;
let tapped = null;
let told = () => {};
let due = false;
let laid = [];
let glimpsed = null;

export function show(record) {
  if (!record || !record.strokes) return;
  const fresh = layout === null;
  layout = record;
  corners = record.fit.top.corners;
  const paths = new Map();
  for (const stroke of record.strokes) {
    const name = `${stroke.layer} ${stroke.pen}`;
    if (!paths.has(name)) paths.set(name, { layer: stroke.layer, pen: stroke.pen, path: new Path2D() });
    const { path } = paths.get(name);
    stroke.points.forEach(([x, y], at) => (at ? path.lineTo(x, y) : path.moveTo(x, y)));
  }
  layers = Array.from(paths.values());
  if (fresh || isWhole) whole(); else redraw();
}

// What is certainly drawn, over the marking.
export function inked(lines) {
  drawnPath = new Path2D();
  for (const line of lines) {
    line.forEach(([x, y], at) => (at ? drawnPath.lineTo(x, y) : drawnPath.moveTo(x, y)));
  }
  redraw();
}

// What a result lays over the marking, in table millimetres: { box, fill }, { line, ink, arrow },
// { dot, ink }, { say, at, above }. It stays until another does, or until it is taken off.
export function over(items, words = "") {
  laid = items;
  document.getElementById("over").hidden = !items.length;
  document.getElementById("over-words").textContent = words;
  redraw();
}

// The same for as long as something is pointed at; null shows again what was there before.
export function glimpse(items) {
  glimpsed = items;
  redraw();
}

document.getElementById("over-off").onclick = () => over([]);

function drawOver(scale, items) {
  const ratio = devicePixelRatio || 1, px = ratio / scale;
  for (const one of items) {
    pen.strokeStyle = one.ink || "#9a3412";
    pen.fillStyle = one.fill || pen.strokeStyle;
    pen.lineWidth = 2.5 * px;
    pen.setLineDash(one.dashed ? [6 * px, 5 * px] : []);
    pen.beginPath();
    if (one.box) {
      const [x0, y0, x1, y1] = one.box;
      pen.rect(x0, y0, x1 - x0, y1 - y0);
      if (one.fill) pen.fill();
      pen.stroke();
    } else if (one.dot) {
      pen.arc(one.dot[0], one.dot[1], 5 * px, 0, 2 * Math.PI);
      pen.fill();
    } else if (one.line) {
      one.line.forEach(([x, y], at) => (at ? pen.lineTo(x, y) : pen.moveTo(x, y)));
      if (one.arrow) tip(one.line, 9 * px);
      pen.stroke();
    }
  }
  pen.setLineDash([]);
  // Words stand upright and as large on every scale, on a ground of their own.
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.font = `600 ${13 * ratio}px system-ui, sans-serif`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  for (const { say, at, above } of items) {
    if (!say) continue;
    const [x, y] = [canvas.width / 2 + (at[0] - look.x) * scale, canvas.height / 2 - (at[1] - look.y) * scale - (above ? 15 * ratio : 0)];
    const wide = pen.measureText(say).width + 6 * ratio;
    pen.fillStyle = "#ffffffd9";
    pen.fillRect(x - wide / 2, y - 9 * ratio, wide, 18 * ratio);
    pen.fillStyle = "#111111";
    pen.fillText(say, x, y);
  }
}

function tip(line, size) {
  const [[x0, y0], [x, y]] = line.slice(-2);
  const long = Math.hypot(x - x0, y - y0);
  if (!long) return;
  const [dx, dy] = [(x - x0) / long * size, (y - y0) / long * size];
  pen.moveTo(x - dx - dy / 2, y - dy + dx / 2);
  pen.lineTo(x, y);
  pen.lineTo(x - dx + dy / 2, y - dy - dx / 2);
}

// What was drawn just now, and where the pen has come to: null where it draws no more.
export function drawing(lines) {
  penAt = lines?.at(-1)?.at(-1) ?? null;
  drawnPath ??= new Path2D();
  for (const line of lines ?? []) {
    line.forEach(([x, y], at) => (at ? drawnPath.lineTo(x, y) : drawnPath.moveTo(x, y)));
  }
  redraw();
}

// Lines that are ruled by hand, over the marking, by the ids of their strokes.
export function ticked(strokes) {
  tickedPath = new Path2D();
  for (const stroke of layout?.strokes ?? []) {
    if (!strokes.has(stroke.id)) continue;
    stroke.points.forEach(([x, y], at) => (at ? tickedPath.lineTo(x, y) : tickedPath.moveTo(x, y)));
  }
  redraw();
}

// Who is told which line was tapped.
export function onLine(hears) { told = hears; }

// The line that a tap is on, to a finger's width; null where there is none.
function lineAt(px, py) {
  const ratio = canvas.width / canvas.clientWidth;
  const [x, y] = under(px * ratio, py * ratio);
  let best = null, least = (12 * ratio) / look.scale;
  for (const stroke of layout.strokes) {
    for (let n = 1; n < stroke.points.length; n += 1) {
      const off = offSegment(x, y, stroke.points[n - 1], stroke.points[n]);
      if (off < least) [best, least] = [stroke.id, off];
    }
  }
  return best;
}

function offSegment(x, y, [x0, y0], [x1, y1]) {
  const [dx, dy] = [x1 - x0, y1 - y0];
  const along = Math.max(0, Math.min(1, ((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy || 1)));
  return Math.hypot(x - x0 - along * dx, y - y0 - along * dy);
}

function box() {
  const xs = corners.map((one) => one[0]), ys = corners.map((one) => one[1]);
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

export function whole() {
  if (!layout) return;
  const [x0, y0, x1, y1] = box();
  const scale = 0.94 * Math.min(canvas.width / (x1 - x0), canvas.height / (y1 - y0));
  look = { scale, x: (x0 + x1) / 2, y: (y0 + y1) / 2 };
  isWhole = true;
  redraw();
}

// Table millimetres under a pixel of the canvas.
function under(px, py) {
  return [look.x + (px - canvas.width / 2) / look.scale, look.y - (py - canvas.height / 2) / look.scale];
}

export function zoom(by, px = canvas.width / 2, py = canvas.height / 2) {
  if (!look) return;
  isWhole = false;
  const [x, y] = under(px, py);
  const [x0, , x1] = box();
  const least = 0.5 * canvas.width / (x1 - x0);
  const scale = Math.min(Math.max(look.scale * by, least), 40);
  look = {
    scale,
    x: x - (px - canvas.width / 2) / scale,
    y: y + (py - canvas.height / 2) / scale,
  };
  redraw();
}

function pan(dx, dy) {
  if (!look) return;
  isWhole = false;
  look = { ...look, x: look.x - dx / look.scale, y: look.y + dy / look.scale };
  redraw();
}

function redraw() {
  if (due) return;
  due = true;
  requestAnimationFrame(draw);
}

function draw() {
  due = false;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.fillStyle = "#ece7dc";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  if (!look) return;
  const { scale } = look;
  pen.setTransform(scale, 0, 0, -scale, canvas.width / 2 - look.x * scale, canvas.height / 2 + look.y * scale);
  pen.fillStyle = "#ffffff";
  pen.beginPath();
  corners.forEach(([x, y], at) => (at ? pen.lineTo(x, y) : pen.moveTo(x, y)));
  pen.closePath();
  pen.fill();
  pen.lineCap = pen.lineJoin = "round";
  for (const one of layers) {
    pen.strokeStyle = INK[one.layer] || "#111";
    // Never thinner than a pixel, so that the far view stays legible.
    pen.lineWidth = Math.max(one.pen === "heavy" ? 2 : 1, (one.pen === "heavy" ? 1.6 : 0.8) / scale);
    pen.stroke(one.path);
  }
  if (tickedPath) {
    pen.strokeStyle = "#0f766e";
    pen.lineWidth = Math.max(2.5, 2 / scale);
    pen.setLineDash([12 / scale, 6 / scale]);
    pen.stroke(tickedPath);
    pen.setLineDash([]);
  }
  if (drawnPath) {
    pen.strokeStyle = "#0f766e";
    pen.lineWidth = Math.max(2.5, 2 / scale);
    pen.stroke(drawnPath);
  }
  if (penAt) drawPen(scale);
  if ((glimpsed ?? laid).length) drawOver(scale, glimpsed ?? laid);
}

// A ring with a dot, as large on every scale.
function drawPen(scale) {
  for (const [size, ink] of [[11, "#b3140c"], [3, "#b3140c"]]) {
    pen.beginPath();
    pen.arc(penAt[0], penAt[1], (size * devicePixelRatio) / scale, 0, 2 * Math.PI);
    pen.strokeStyle = pen.fillStyle = ink;
    pen.lineWidth = (3 * devicePixelRatio) / scale;
    if (size > 5) pen.stroke(); else pen.fill();
  }
}

function sized() {
  const ratio = window.devicePixelRatio || 1;
  const [width, height] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
  if (width === canvas.width && height === canvas.height) return;
  canvas.width = width;
  canvas.height = height;
  if (isWhole) whole(); else redraw();
}

function read(event) {
  if (!look) return;
  const ratio = canvas.width / canvas.clientWidth;
  const [x, y] = under(event.offsetX * ratio, event.offsetY * ratio);
  const zero = layout.fit.zero_x ?? zeroLine();
  pointer.textContent = filled(texts.pointer, { along: length(x - zero), across: length(y) });
}

function zeroLine() {
  let least = Infinity;
  for (const stroke of layout.strokes) {
    if (stroke.layer === "cross") least = Math.min(least, stroke.points[0][0]);
  }
  return least === Infinity ? 0 : least;
}

canvas.addEventListener("wheel", (event) => {
  event.preventDefault();
  const ratio = canvas.width / canvas.clientWidth;
  zoom(Math.exp(-event.deltaY / 400), event.offsetX * ratio, event.offsetY * ratio);
}, { passive: false });

canvas.addEventListener("pointerdown", (event) => {
  canvas.setPointerCapture(event.pointerId);
  fingers.set(event.pointerId, [event.clientX, event.clientY]);
  tapped = fingers.size === 1 ? [event.clientX, event.clientY] : null;
});
canvas.addEventListener("pointerup", (event) => {
  const moved = tapped ? Math.hypot(event.clientX - tapped[0], event.clientY - tapped[1]) : Infinity;
  const line = moved < 6 && look ? lineAt(event.offsetX, event.offsetY) : null;
  if (line) told(line);
});
for (const ended of ["pointerup", "pointercancel"]) {
  canvas.addEventListener(ended, (event) => fingers.delete(event.pointerId));
}
canvas.addEventListener("pointermove", (event) => {
  read(event);
  const before = fingers.get(event.pointerId);
  if (!before) return;
  const ratio = canvas.width / canvas.clientWidth;
  const now = [event.clientX, event.clientY];
  if (fingers.size === 1) pan((now[0] - before[0]) * ratio, (now[1] - before[1]) * ratio);
  else pinched(event.pointerId, before, now, ratio);
  fingers.set(event.pointerId, now);
});

function pinched(id, before, now, ratio) {
  const other = Array.from(fingers).find(([name]) => name !== id)[1];
  const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
  const frame = canvas.getBoundingClientRect();
  const middle = [(now[0] + other[0]) / 2 - frame.left, (now[1] + other[1]) / 2 - frame.top];
  zoom(apart(now, other) / Math.max(apart(before, other), 1), middle[0] * ratio, middle[1] * ratio);
}

canvas.addEventListener("keydown", (event) => {
  const step = canvas.width / 10;
  const moves = {
    ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step],
  };
  if (event.key in moves) pan(...moves[event.key]);
  else if (event.key === "+") zoom(1.5);
  else if (event.key === "-") zoom(1 / 1.5);
  else if (event.key === "0") whole();
  else return;
  event.preventDefault();
});

new ResizeObserver(sized).observe(canvas);
