// What is at hand, one card at a time, drawn by the figures that the machine's words came with.
// Nothing is worked out here.
import { fine, inInches, inItsUnit, nudge, signed } from "./lengths.js";
import { place } from "./placed.js";
import { element } from "./results/elements.js";
import { filled, texts } from "./texts.js";
import { told as inWords } from "./words.js";

const at = (id) => document.getElementById(id);
const CARDS = ["set-down", "marks", "verdict", "pen", "inking", "ended"];
const NOW = { verdict: verdictNow, pen: penNow, inking: inkingNow, marks: marksNow, "set-down": setDownNow };
let drawn = "";
let dry = () => {};
let answered = () => {};

// Words of the machine and of the verbs, a line each.
function words(into, lines, shown = (text) => text) {
  into.replaceChildren(...lines.map((text) => {
    const one = document.createElement("li");
    one.textContent = shown(inWords(text));
    return one;
  }));
}

export function show(machine) {
  const { told } = machine;
  waiting(told, machine);
  const now = machine.running ? machine.card : machine.ended === null ? "" : "ended";
  for (const card of CARDS) at(`card-${card}`).hidden = card !== now;
  // The same set-down is not drawn anew at every stroke.
  const fresh = JSON.stringify([now, told.set_down, told.mark, told.verdict, told.pen]);
  if (now in NOW && (fresh !== drawn || now === "inking")) NOW[now](told, machine);
  drawn = fresh;
}

function setDownNow({ set_down: placed }, { ages_s: ages }) {
  at("set-down-name").textContent = filled(placed.stays ? texts.leaveIt : texts.setItDown, placed);
  at("set-down-place").textContent = placed.stays ? ""
    : filled(placed.fed ? texts.fedTo : placed.fence ? texts.againstFence : texts.setDownAt,
      { ...placed, fence: placed.fence?.name, place: placed.fed === "y" ? placed.across : placed.along });
  place(at("set-down-drawing"), placed, null, filled(texts.placedDrawing, placed));
  // The heading says of which section.
  const here = (text) => text.replace(`${placed.section}: `, "");
  const under = placed.under ?? [];
  words(at("set-down-under"), under, here);
  words(at("set-down-words"), placed.words.filter((one) => !under.includes(one)), here);
  dry();
  dry = countedDown(at("set-down-wait"), placed.wait_s - ages.set_down, texts.drying);
}

// What goes by the clock is told once, and counted down here from what is left of it when the page
// hears of it; returns what ends that.
function countedDown(into, seconds, text) {
  const until = Date.now() + 1000 * seconds;
  let timer = 0;
  function tick() {
    const left = Math.ceil((until - Date.now()) / 1000);
    into.hidden = left <= 0;
    if (left <= 0) return;
    into.textContent = filled(text, { minutes: Math.floor(left / 60), seconds: String(left % 60).padStart(2, "0") });
    timer = setTimeout(tick, 1000);
  }
  tick();
  return () => clearTimeout(timer);
}

// A machine that is slow to be there, or to answer: what is waited for, and until when.
function waiting({ waits }, { running, port, ages_s: ages }) {
  const now = JSON.stringify([running && waits, port]);
  if (now === waiting.shown) return;
  waiting.shown = now;
  answered();
  const waited = running && waits?.seconds > 0;
  at("waits").textContent = !waited ? ""
    : filled(waits.for === "port" ? texts.waitsForPort : texts.waitsForAnswer, { port });
  answered = countedDown(at("waits-left"), waited ? waits.seconds - ages.waits : 0, texts.givenUp);
}

const TOWARDS = { "1,0": texts.towardsFarEnd, "-1,0": texts.towardsZeroEnd, "0,1": texts.towardsFarEdge, "0,-1": texts.towardsNearEdge };

function marksNow({ mark, set_down: placed }) {
  const [x, y] = mark.off_mm;
  at("mark-now").textContent = filled(mark.ink_follows ? texts.markLast : texts.markNow, mark);
  const beside = inInches() ? ` (${counted(x)}, ${counted(y)} mm)` : "";
  at("mark-off").textContent = filled(texts.markOff, { x: offset(x), y: offset(y) + beside, step: nudge(mark.step_mm) });
  // What agreeing to the last one sets off stands at what agrees.
  at("mark-over").textContent = filled(mark.ink_follows ? texts.overLast : texts.overMark, placed ?? {});
  const then = mark.ink_follows ? texts.thenInk : "";
  if (at("mark-then").textContent !== then) at("mark-then").textContent = then;
  for (const button of document.querySelectorAll("#card-marks [data-step]")) {
    button.replaceChildren(...stepWords(Number(button.dataset.step)));
    button.setAttribute("aria-pressed", String(Number(button.dataset.step) === mark.step_mm));
  }
  for (const [key, way] of Object.entries(mark.keys)) {
    const button = document.querySelector(`#card-marks [data-key="${key}"]`);
    button.setAttribute("aria-label", TOWARDS[way.map((one) => Math.round(one)).join(",")] ?? texts.movePen);
  }
  const marks = mark.marks.map((one, n) => ({ ...one, now: n === mark.number - 1 }));
  at("marks-drawing").toggleAttribute("hidden", !placed);
  if (placed) place(at("marks-drawing"), placed, marks, filled(texts.marksDrawing, mark));
}

// As the machine counts, in its own millimetres.
const counted = (value) => `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(1)}`;
const offset = (value) => (inInches() ? signed(value) : `${counted(value)} mm`);

function stepWords(step) {
  const words = filled(texts.nudgedBy, { step: inInches() ? fine(step) : `${step} mm` });
  return inInches() ? [words, element("small", {}, ` (${step} mm)`)] : [words];
}

function figures(verdict) {
  return [
    verdict.error_mm === null ? ""
      : filled(texts.errorOf, { error: fine(verdict.error_mm), limit: fine(verdict.error_limit_mm) }),
    verdict.step_mm === null ? ""
      : filled(texts.stepOf, { error: fine(verdict.step_mm), limit: fine(verdict.step_limit_mm) }),
  ].filter(Boolean);
}

function verdictSays(verdict) {
  if (verdict.again.length) return filled(texts.readAgain, { marks: [...new Set(verdict.again)].join(", ") });
  if (verdict.holds) return verdict.error_mm === null ? texts.mayBeInked : texts.holds;
  if (!verdict.fits) return texts.doesNotFit;
  return verdict.anyway ? filled(texts.holdsNotAnyway, verdict) : texts.holdsNot;
}

function verdictInto(box, verdict) {
  const says = document.createElement("p");
  says.className = verdict.holds ? "big" : "big fault";
  says.textContent = verdictSays(verdict);
  const list = document.createElement("ul");
  // What it says first of one that holds are these very figures.
  const more = verdict.words.slice(verdict.holds && verdict.error_mm !== null ? 1 : 0);
  words(list, [...figures(verdict), ...more], inItsUnit);
  box.replaceChildren(says, list);
  if (!verdict.marks.length) return;
  const table = document.createElement("ul");
  table.className = "hint";
  words(table, verdict.marks.map((one) => filled(texts.markMisfit, {
    mark: one.id, x: signed(one.off_mm[0]), y: signed(one.off_mm[1]),
  })));
  box.append(table);
}

function verdictNow({ verdict }) { verdictInto(document.querySelector("#card-verdict [data-verdict]"), verdict); }

function penNow({ pen }) {
  at("pen-says").textContent = filled(pen.new ? texts.newPen : texts.otherPen, { ...pen, pen: inWords(pen.pen) });
}

function inkingNow({ progress, verdict }, { scrap }) {
  at("inking-name").textContent = scrap ? texts.drawingSquare : filled(texts.inkingNow, progress);
  at("ink-bar").max = progress.of || 1;
  at("ink-bar").value = progress.drawn;
  at("ink-strokes").textContent = filled(texts.strokesOf, progress);
  const left = progress.left_s === null ? "" : filled(texts.minutesLeft, { minutes: Math.ceil(progress.left_s / 60) });
  at("ink-left").textContent = [left, scrap ? "" : filled(texts.sectionsOf, progress)].filter(Boolean).join(" ");
  at("ink-verdict").textContent = verdict ? [verdictSays(verdict), ...figures(verdict)].join(" ") : "";
}

// What comes next, with a button for each way on: go(most, moved) begins it.
export function ended(machine, go) {
  const { told: { ended: end, verdict }, faults } = machine;
  const stood = end?.ended ?? "";
  // Of a section that nothing is inked of there is nothing to say.
  const begun = stood !== "done" && stood !== "" && end.words.length > 0;
  const well = machine.ended === 0;
  at("ended-name").textContent = machine.scrap ? (well ? texts.squareDrawn : texts.squareNotDrawn)
    : machine.rehearsal ? texts.rehearsalOver
    : well && end && !end.left ? texts.allInked
    : stood === "done" && well ? filled(texts.sectionDone, end)
    : begun ? filled(texts.sectionBegun, end)
    : stood === "not allowed" ? filled(texts.notAllowed, end)
    : machine.told.progress ? texts.endedMidway : texts.nothingInked;
  words(at("ended-faults"), faults);
  words(at("ended-words"), end?.words ?? []);
  at("ended-verdict").hidden = !verdict || verdict.holds || stood !== "not allowed";
  if (!at("ended-verdict").hidden) verdictInto(at("ended-verdict"), verdict);
  const next = end?.next ?? null;
  at("go-measure").hidden = !(machine.scrap && well);
  at("go-where").hidden = machine.scrap;
  if (machine.scrap) {
    for (const id of ["go-next", "go-moved", "go-all", "go-prove"]) at(id).hidden = true;
    return;
  }
  button("go-next", machine.rehearsal || next === null ? texts.inkNext
    : filled(begun && next === end.section ? texts.goOnWith : texts.inkThis, { next }), () => go(1, false));
  button("go-moved", begun && !machine.rehearsal ? filled(texts.goOnMoved, end) : "", () => go(1, true));
  button("go-all", end && end.left > 1 && !machine.rehearsal ? filled(texts.inkRest, end) : "", () => go(null, false));
  at("go-prove").hidden = !(well && end && !end.left && !machine.rehearsal);
  at("go-next").hidden = !at("go-prove").hidden;
}

function button(id, text, act) {
  at(id).textContent = text;
  at(id).hidden = !text;
  at(id).onclick = act;
}
