// The bench page: shows the job it is sent, tries what is typed, sends what is kept. It keeps
// nothing of its own but what is being typed.
import { show as showErrand, told as toldErrands } from "./errands.js";
import { sayOf } from "./faults.js";
import { fillFor, judged, keepRefused, keepTyped, make, tellOthers } from "./fields.js";
import { show as showJobs } from "./jobs.js";
import { show as showLight } from "./light.js";
import { lookAt, show as showMachine } from "./mark.js";
import { length, showIn } from "./lengths.js";
import { drawing, show as draw, whole, zoom } from "./picture.js";
import { svg } from "./results/elements.js";
import { plotter } from "./ports.js";
import { filled, texts } from "./texts.js";
import { forget as forgetTicks, show as showTicks } from "./ticks.js";
import { named, told } from "./words.js";

const at = (id) => document.getElementById(id);
// Where each measurement of the top stands on its drawing, in parts of its width and height.
const PLACES = {
  "table.survey.far": [0.5, 0.08], "table.survey.near": [0.5, 0.92],
  "table.survey.zero_end": [0.1, 0.58], "table.survey.far_end": [0.9, 0.58],
  "table.survey.diagonal_from_zero_near": [0.66, 0.3],
  "table.survey.diagonal_from_zero_far": [0.34, 0.3],
};

let job = null;
let drawn = null;
let tries = 0;
let untried = null;
// The marking is asked for before the page is told of the job.
let early = fetch("/layout").catch(() => null);
let trying = false;

function say(words) {
  const text = told(words);
  at("say").textContent = text ? text.charAt(0).toUpperCase() + text.slice(1) : "";
  at("answer").hidden = !text;
}

// One change is tried at a time, at once; of those typed meanwhile only the last.
async function tried(field, value) {
  untried = [field, value];
  if (trying) return;
  trying = true;
  while (untried) {
    const now = untried;
    untried = null;
    await ask(...now);
  }
  trying = false;
}

// What a change would make, before it is kept; null where nobody answers.
async function trial(field, value) {
  try {
    const answer = await fetch("/try", { method: "POST", body: JSON.stringify({ name: field.name, value }) });
    return answer.ok ? await answer.json() : null;
  } catch { return null; }
}

// Shows it; only the newest answer counts.
async function ask(field, value) {
  tries += 1;
  const mine = tries;
  const found = await trial(field, value);
  if (!found) return found;
  judged(field.name, value, found);
  if (mine !== tries) return found;
  tellOthers(field.name, found.faults);
  trouble(found.faults[""]);
  if (found.corners) drawTop(found.corners, found.faults);
  if (!found.layout) return found;
  draw(found.layout);
  drawTop(found.layout.fit.top.corners, found.faults);
  drawNumerals(found.layout);
  list(at("warnings"), found.warnings);
  return found;
}

// A value that is wrong by itself stays where it was typed, with what is wrong beside it.
async function kept(field, value) {
  untried = null;
  const found = await ask(field, value);
  if (found && found.fate === "refused") return;
  // Without a connection it waits in its field; it is kept when the page is in step again.
  if (link.live) tap({ do: "set", name: field.name, value }, "");
}

// What was refused before, once more: only what is wrong with it is shown.
async function again(field, value) {
  const found = await trial(field, value);
  if (found) judged(field.name, value, found);
}

function trouble(words) {
  at("trouble").textContent = told(words) || "";
  at("trouble").hidden = !words;
}

function list(into, texts) {
  into.replaceChildren(...texts.map((text) => {
    const one = document.createElement("li");
    one.textContent = told(text);
    return one;
  }));
}

function fieldsMade(fields) {
  if (at("top-fields").childElementCount) return;
  for (const field of fields) {
    const box = make(field, { tried, kept, again });
    if (field.name in PLACES) {
      const [x, y] = PLACES[field.name];
      box.style.setProperty("--along", `${100 * x}%`);
      box.style.top = `${100 * y}%`;
      at("top-fields").append(box);
      // Beside so small a field there is no room for words.
      const fault = box.querySelector(".fault");
      fault.dataset.label = told(field.label);
      at("top-faults").append(fault);
    } else document.querySelector(`[data-group="${field.group}"]`).append(box);
  }
}

// What was asked for early serves where it is of this very job, as it stands.
async function marking(wanted) {
  const answer = await early;
  early = null;
  const isIt = answer && decodeURIComponent(answer.headers.get("marking-of")) === wanted;
  return isIt ? answer : fetch("/layout");
}

async function shown(message) {
  if (!job || job.folder !== message.folder) {
    drawn = null;
    forgetTicks();
  }
  job = message;
  named(job.title, job.folder);
  plotter(job.plotter);
  document.title = filled(texts.bench, { job: job.title });
  at("title").textContent = job.title;
  inItsUnits(job.units);
  at("folder").textContent = at("lies-in").textContent = job.folder;
  at("unmeasure").hidden = !Object.entries(job.values)
    .some(([name, one]) => name.startsWith("table.survey.") && one.written !== null);
  at("undo").disabled = !job.undo;
  at("redo").disabled = !job.redo;
  fillFor(job.folder, job.values);
  trouble(job.fault);
  list(at("warnings"), job.warnings);
  toldErrands(job);
  morning(job.morning);
  showSteps();
  if (job.corners) drawTop(job.corners, faultsOf(job));
  if (drawn === job.drawn) { lookAt(`${job.folder} ${job.drawn} ${job.record}`); return; }
  if (drawn !== null) keepRefused();
  drawn = job.drawn;
  const answer = await marking(`${job.drawn} ${job.folder}`);
  if (!answer.ok) return;
  const record = await answer.json();
  draw(record);
  if (!record.strokes) return;
  if (!job.corners) drawTop(record.fit.top.corners, faultsOf(job));
  drawNumerals(record);
  lookAt(`${job.folder} ${job.drawn} ${job.record}`);
}

const faultsOf = ({ values }) => Object.fromEntries(
  Object.entries(values).filter(([, one]) => one.fault).map(([name, one]) => [name, one.fault]),
);

// Examples of lengths that stand on the page in inches, for a job in millimetres in those.
function inItsUnits(units) {
  showIn(units);
  for (const input of document.querySelectorAll("[data-mm]")) {
    input.dataset.in ??= input.placeholder;
    input.placeholder = units === "mm" ? input.dataset.mm : input.dataset.in;
  }
}

// Opened where ink has come to wait for it, with what the tape should show.
function morning({ waits, meant }) {
  const text = told(waits);
  if (waits && at("morning-waits").textContent !== text) at("morning").open = true;
  at("morning-waits").textContent = text;
  at("morning-waits").hidden = at("go-morning").hidden = !waits;
  for (const name of ["base", "up", "down"]) at(`morning-${name}`).placeholder = name in meant ? length(meant[name]) : "";
}

function showSteps() {
  const next = job.steps.find((one) => one.left);
  at("steps").replaceChildren(...job.steps.map((one) => {
    const link = document.createElement("a");
    link.href = `#${one.step === "see" ? "picture" : one.step}`;
    link.textContent = texts[one.step];
    if (one === next) {
      link.className = "next";
      link.setAttribute("aria-current", "step");
    }
    const left = document.createElement("small");
    left.textContent = told(one.says);
    link.append(left);
    return link;
  }));
}

// From which corner to which each measurement goes.
const TAPED = {
  "table.survey.near": [0, 1], "table.survey.far": [3, 2], "table.survey.zero_end": [0, 3],
  "table.survey.far_end": [1, 2], "table.survey.diagonal_from_zero_near": [0, 2],
  "table.survey.diagonal_from_zero_far": [3, 1],
};

// The real top over the square one, its corners as much too far out as makes them show. What is
// doubted of the six is red, and broken otherwise than the rest.
function drawTop(real, faults) {
  const along = Math.max(...real.map((one) => one[0])), across = Math.max(...real.map((one) => one[1]));
  const square = [[0, 0], [along, 0], [along, across], [0, across]];
  const off = Math.max(...real.map(([x, y], n) => Math.hypot(x - square[n][0], y - square[n][1])), 1e-9);
  const more = Math.min(0.05 * along / off, 60);
  const [wide, high, edge] = [1000, 640, 130];
  const placed = ([x, y]) => [
    edge + (x / along) * (wide - 2 * edge), high - 90 - (y / across) * (high - 180),
  ];
  const shown = real.map(([x, y], n) => [
    square[n][0] + (x - square[n][0]) * more, square[n][1] + (y - square[n][1]) * more,
  ]).map(placed);
  const points = (list) => list.map((one) => one.join(",")).join(" ");
  const line = (a, b, look) => svg("line", {
    x1: shown[a][0], y1: shown[a][1], x2: shown[b][0], y2: shown[b][1], ...look,
  });
  const diagonal = { class: "aid" };
  const doubted = Object.entries(TAPED).filter(([name]) => faults[name]);
  at("top").replaceChildren(
    svg("polygon", { points: points(square.map(placed)), class: "aid" }),
    svg("polygon", { points: points(shown), class: "side face" }),
    line(0, 2, diagonal), line(3, 1, diagonal),
    ...doubted.map(([, [a, b]]) => line(a, b, { class: "slip" })),
    svg("circle", { cx: shown[0][0], cy: shown[0][1], r: 9, class: "zero" }),
  );
}

// The first, the widest and the last numeral as the pen will draw them, at true size.
function drawNumerals(record) {
  const near = record.numerals.filter((one) => one.side === record.numerals[0].side);
  if (!near.length) { at("numerals").replaceChildren(); return; }
  const wide = (one) => one.box[2] - one.box[0];
  const widest = near.reduce((best, one) => (wide(one) > wide(best) ? one : best));
  const last = near.reduce((best, one) => (one.value > best.value ? one : best));
  const chosen = [...new Set([near[0], widest, last])];
  const strokes = new Map(record.strokes.map((one) => [one.id, one.points]));
  at("numerals").replaceChildren(...chosen.map((one) => {
    const [x0, y0, x1, y1] = one.box, room = 3;
    const [width, height] = [x1 - x0 + 2 * room, y1 - y0 + 2 * room];
    const drawing = svg("svg", {
      width: `${width}mm`, height: `${height}mm`, viewBox: `0 0 ${width} ${height}`,
      role: "img", "aria-label": filled(texts.numeral, { text: one.text, height: length(one.height) }),
    });
    for (const id of one.strokes) {
      const path = strokes.get(id).map(([x, y]) => `${x - x0 + room},${y1 - y + room}`).join(" ");
      drawing.append(svg("polyline", {
        points: path, fill: "none", stroke: "#111", "stroke-width": 0.8,
        "stroke-linecap": "round", "stroke-linejoin": "round",
      }));
    }
    return drawing;
  }));
}

for (const button of document.querySelectorAll("[data-zoom]")) {
  button.onclick = () => (Number(button.dataset.zoom) ? zoom(Number(button.dataset.zoom)) : whole());
}
at("undo").onclick = () => tap({ do: "undo" }, texts.undo);
at("unmeasure").onclick = () => tap({ do: "unmeasure" }, texts.unmeasure);
at("redo").onclick = () => tap({ do: "redo" }, texts.redo);
at("heard").onclick = () => say("");
document.addEventListener("keydown", (event) => {
  const typing = event.target.matches("input, textarea, select");
  if (!(event.ctrlKey || event.metaKey) || typing || event.key.toLowerCase() !== "z") return;
  event.preventDefault();
  (event.shiftKey ? at("redo") : at("undo")).click();
});

join({
  path: "/bench",
  beats: "/pages/beats.js",
  told(message) {
    if (message.type === "fields") fieldsMade(message.fields);
    else if (message.type === "jobs") showJobs(message);
    else if (message.type === "job") shown(message);
    else if (message.type === "errand") { showErrand(message); showTicks(message); }
    else if (message.type === "light") showLight(message);
    else if (message.type === "machine") showMachine(message);
    else if (message.type === "drawn") drawing(message.lines);
    else if (message.type === "refused") say(sayOf(message.say, (option) => at(`new-${option}`)));
  },
  live(live) {
    at("link").classList.toggle("off", !live);
    at("link").textContent = live ? texts.inStep : texts.notConnected;
    if (live) keepTyped();
  },
  undone(words) {
    const what = words.filter(Boolean).join("; ");
    if (what) say(filled(texts.notDone, { what }));
  },
  waiting() { document.body.setAttribute("aria-busy", Boolean(link.waiting.length)); },
  opened() {},
  ended(code) {
    if (code !== 4401) return code === 4410;
    say(texts.earlierRun);
    return true;
  },
});
