// Errands: verbs run for the page, and what they printed. Nothing is worked out here.
import { ofOption, say as sayAt } from "./faults.js";
import { fine, length } from "./lengths.js";
import { glimpse, over } from "./picture.js";
import { buy } from "./results/buy.js";
import { element } from "./results/elements.js";
import { drawDistance, verdict } from "./results/proof.js";
import { RUNS, VERNIERS, drawSquare, place as onDrawing } from "./results/square.js";
import { tape } from "./results/tape.js";
import { show as showPorts } from "./ports.js";
import { printed } from "./printed.js";
import { filled, texts } from "./texts.js";
import { told as inWords } from "./words.js";

const at = (id) => document.getElementById(id);
const CARDS = {
  cover: ["buy-card", buy], forecast: ["tape-card", tape], "tape-marks": ["tape-card", tape],
  proved: ["proof-card", verdict],
};
const POINTED_MS = 120;
const results = new Map();
const made = new Map();
// Errands whose faults stand at the fields of their form.
const placed = new Set();
let job = null;
// The way that is pointed at.
let pointed = null;

// Makes a place anew only where something else is to be shown: what a person is at in it stays.
function renew(place, of, make) {
  const now = JSON.stringify(of);
  if (made.get(place) === now) return;
  made.set(place, now);
  place.replaceChildren(...make());
}

export function show(message) {
  if (results.get(message.kind)?.code === null) atFields(message);
  // The newest comes last, so that it is what a place shows that several share.
  results.delete(message.kind);
  results.set(message.kind, message);
  for (const place of document.querySelectorAll(".outcome")) {
    if (!place.dataset.of.split(" ").includes(message.kind)) continue;
    renew(place, [message, job?.drawn, job?.files], () => outcome(message));
  }
  for (const button of document.querySelectorAll("[data-errand]")) {
    if (button.dataset.errand === message.kind) button.disabled = message.code === null;
  }
  if (message.kind === "ports") showPorts(message);
  if (message.code === null || !message.result) return;
  if (message.result.ways) ways(message.result);
  if (message.kind === "to-prove") toMeasure(message.result);
  if (message.kind.startsWith("square")) nearby(message.result);
  if (message.kind in CARDS) {
    const [place, make] = CARDS[message.kind];
    renew(at(place), [message.result, job?.units], () => make(message.result));
  }
}

// What the scrap's lengths are near, and what its verniers tell.
function nearby({ runs, verniers }) {
  for (const [run, near] of Object.entries(runs)) {
    for (const kind of ["squared", "squared-corrected"]) at(`measured-${kind}-${run}`).placeholder = length(near);
  }
  for (const { name, pitch, question } of verniers) {
    at(`measured-squared-${name}-help`).textContent = filled(texts.vernierAsks, {
      division: (pitch / 10).toFixed(2), question: inWords(question),
    });
  }
}

// Of an errand that was begun while this page is here, so that what it was asked still stands there.
function atFields({ kind, faults }) {
  placed.delete(kind);
  const form = document.querySelector(`[data-errand="${kind}"]`)?.closest("[data-form]");
  for (const [name, words] of Object.entries(faults)) {
    const input = form?.querySelector(`[data-option="${name}"]`);
    if (!input) continue;
    sayAt(input, ofOption(words));
    placed.add(kind);
  }
}

const isMeasured = (kind) => Boolean(document.querySelector(`.measured [data-name^="${kind}."]`));

function outcome(message) {
  if (message.code === null) return [element("p", { role: "status" }, texts.working)];
  // What answers is said port by port.
  if (message.kind === "ports" && !message.said.length) return [];
  const said = [];
  if (job && message.of !== (message.kind.startsWith("ways") ? job.reckoned : job.drawn)) {
    said.push(element("p", { class: "old" }, texts.changedSince));
  }
  const faults = Object.values(message.faults);
  const here = placed.has(message.kind) || isMeasured(message.kind);
  const lines = here ? message.said : [...message.said, ...faults];
  if (here && faults.length) said.push(element("p", { class: "fault" }, texts.wrongThere));
  if (lines.length) {
    const list = element("ul", { class: message.code ? "fault" : null });
    for (const line of lines) list.append(element("li", {}, inWords(line)));
    said.push(list);
  }
  if (message.printed) {
    const files = written([message.printed, ...message.said].join("\n"));
    if (files.length) said.push(element("p", { class: "row" }, ...files));
    said.push(printed(message.printed, texts.printed));
  }
  if (!said.length) said.push(element("p", { role: "status" }, message.code ? texts.failed : texts.done));
  return said;
}

// The files that a verb's words name, where they are there to look at.
function written(words) {
  const said = words.replaceAll("\\", "/");
  return (job ? job.files : []).filter((one) => said.includes(`out/${one.name}`)).map(linked);
}

function linked(file) {
  return element("a", { href: `/out/${file.name}`, target: "_blank", rel: "noopener" }, file.name);
}

const hours = ([low, high]) => filled(texts.hours, { low: low.toFixed(1), high: high.toFixed(1) });

function ways(found) {
  renew(at("ways-table"), [found, chosen()], () => {
    pointed = null;
    glimpse(null);
    return cards(found.ways, found.best);
  });
}

function cards(ways, best) {
  return ways.map((one) => {
    const now = chosen() === one.id;
    const name = inWords(one.says);
    const choose = element("button", { "aria-pressed": String(now), class: now ? "main" : null },
      now ? texts.chosen : texts.chooseThis);
    choose.onclick = () => tap({ do: "set", name: "ways.way", value: one.id }, texts.chooseWay);
    const said = [
      one.id === best ? texts.leastHours : "",
      filled(one.people === 1 ? texts.clockOne : texts.clockMore, { hours: hours(one.clock_hours), people: one.people }),
      one.worst_line_mm === null ? ""
        : filled(texts.worst, { line: fine(one.worst_line_mm), step: fine(one.worst_step_mm) }),
      one.needs.length ? filled(texts.needs, { what: one.needs.map(inWords).join(", ") }) : "",
    ];
    return pointedAt(one.id, element("article", { class: now ? "card chosen" : "card", "aria-label": name },
      element("div", { class: "row" }, choose, element("strong", {}, name)),
      element("p", { class: "big" }, filled(texts.personHours, { hours: hours(one.person_hours) })),
      element("p", {}, said.filter(Boolean).join(" ")),
      element("p", { class: one.holds ? "hint" : "fault" }, one.holds ? inWords(one.why) : filled(texts.doesNotHold, { why: inWords(one.why) }))));
  });
}

// While a way is pointed at or in focus, its sections lie over the picture; asked for only then.
function pointedAt(id, card) {
  card.dataset.way = id;
  const end = () => { if (pointed === id) { pointed = null; glimpse(null); } };
  const begin = () => {
    if (pointed === id) return;
    pointed = id;
    setTimeout(() => { if (pointed === id) sectionsOf(id); }, POINTED_MS);
  };
  for (const [began, ended] of [["pointerenter", "pointerleave"], ["focusin", "focusout"]]) {
    card.addEventListener(began, begin);
    card.addEventListener(ended, end);
  }
  return card;
}

async function sectionsOf(id) {
  let found = null;
  try {
    const answer = await fetch(`/sections?way=${encodeURIComponent(id)}`);
    found = answer.ok ? await answer.json() : null;
  } catch { /* the connection's own line tells */ }
  // One that has none shows none; why it cannot be divided for stands on its card.
  if (pointed === id) glimpse(divided(found));
}

// What is ruled by hand lies below, as on a cover that is ticked off.
const divided = (found) => [
  ...(found?.ruled ?? []).map((line) => ({ line, dashed: true, ink: "#0f766e" })), ...boxes(found?.sections ?? []),
];

const boxes = (sections) => sections.flatMap(({ id, core: [x0, y0, x1, y1] }) => [
  { box: [x0, y0, x1, y1], ink: "#7a3e9d" }, { say: id, at: [(x0 + x1) / 2, (y0 + y1) / 2] },
]);

const chosen = () => (job ? job.values["ways.way"].written : null);

// A length that is typed for a verb to read; it waits in the job's folder until that verb runs. What
// the verb says is wrong with it stands below it, or at `faults` where there is no room.
function measured(name, label, help, { kind = "length", faults } = {}) {
  const id = `measured-${name.replaceAll(".", "-")}`;
  const input = element("input", { id, autocomplete: "off", "data-length": kind, "aria-describedby": `${id}-fault ${id}-help` });
  input.value = job?.measured[name] ?? "";
  input.onchange = () => tap({ do: "set", name, value: input.value.trim() || null }, label);
  const fault = element("p", { class: "fault", id: `${id}-fault`, role: "alert", "data-label": label });
  const box = element("div", { class: "field", "data-name": name },
    element("label", { for: id }, label), input, fault, element("p", { class: "help", id: `${id}-help` }, help));
  if (faults) faults.append(fault);
  wrong(box, job?.unfit[name]);
  return box;
}

// What a verb says of a length, less the file and the name that it found it by.
function wrong(box, words) {
  const input = box.querySelector("input"), name = box.dataset.name.split(".").at(-1);
  const said = inWords(words ?? "").replace(/^.*\.csv:\d+: /, "").replace(/^[^=:]+ = '[^']*': /, "");
  const fault = document.getElementById(`${input.id}-fault`) ?? box.querySelector(".fault");
  const text = said.startsWith(`${name}: `) ? said.slice(name.length + 2) : said;
  if (fault.textContent !== text) fault.textContent = text;
  // What is wrong is in sight.
  if (words && box.closest("details")) box.closest("details").open = true;
  box.classList.toggle("wrong", Boolean(words));
  input.setAttribute("aria-invalid", String(Boolean(words)));
}

// A tick by which a person says that a length was measured again and stands: where a verb asks for
// that, and of what stands there now.
function standing(box, wanted) {
  const id = box.dataset.name.split(".")[1], there = box.querySelector("[data-stands]");
  if (!wanted && there && !there.checked) there.closest("label").remove();
  if (!wanted || there) return;
  const tick = element("input", { type: "checkbox", "data-stands": id });
  box.querySelector("input").addEventListener("input", () => { tick.checked = false; });
  box.append(element("label", { class: "check" }, tick, texts.stands));
}

const stand = (kind) => Array.from(document.querySelectorAll(`[data-name^="${kind}."] [data-stands]:checked`), (one) => one.dataset.stands);

// The square with a field at each side of it, for lengths of that kind.
function square(drawing, fields, faults, kind) {
  drawSquare(drawing);
  fields.replaceChildren(...RUNS.map((run) => onDrawing(measured(
    `${kind}.${run}`, filled(texts.corners, { one: run[0], other: run[1] }), texts.cornersHelp, { faults },
  ), run)));
}

// What a verb would have a person say before it goes on is asked for, and of nothing typed since.
function asked(asks) {
  for (const [kind, names] of Object.entries(asks)) {
    if (results.get(kind)?.code === null) continue;
    const form = document.querySelector(`[data-errand="${kind}"]`).closest("[data-form]");
    for (const tick of form?.querySelectorAll("[type=checkbox]") ?? []) {
      if (!names.length) tick.checked = false;
      tick.closest("label").hidden = !names.includes(tick.dataset.option) && !tick.checked;
    }
    for (const box of document.querySelectorAll(`#proof-fields [data-name^="${kind}."]`)) {
      standing(box, names.includes(box.dataset.name.split(".")[1]));
    }
  }
}

function toMeasure({ distances: list }) {
  at("proof-count").textContent = filled(texts.distances, { count: list.length });
  at("proof-count").hidden = false;
  renew(at("proof-fields"), list, () => list.map((one) => {
    const box = measured(
      `proved.${one.id}`,
      filled(texts.distance, { id: one.id, one: inWords(one.between[0]), other: inWords(one.between[1]) }),
      filled(texts.distanceHelp, { purpose: inWords(one.purpose), length: length(one.nominal) }),
    );
    box.querySelector("input").addEventListener("focus", () => drawDistance(one));
    return box;
  }));
}

export function told(message) {
  const before = job;
  job = message;
  if (before && before.folder !== job.folder) {
    // What was said of another job is nothing to this one.
    results.clear();
    for (const place of made.keys()) place.replaceChildren();
    made.clear();
    at("proof-count").hidden = true;
    over([]);
  }
  if (!before) {
    square(at("square"), at("square-fields"), at("square-faults"), "squared");
    square(at("square-corrected"), at("corrected-fields"), at("corrected-faults"), "squared-corrected");
    at("verniers-read").replaceChildren(...VERNIERS.map((name) => measured(
      `squared.${name}`, filled(texts.vernier, { name }), texts.vernierHelp, { kind: "fine" },
    )));
  }
  if (before?.folder !== job.folder) {
    at("verniers-read").closest("details").open = VERNIERS.some((name) => job.measured[`squared.${name}`]);
  }
  for (const box of document.querySelectorAll(".measured .field")) {
    const input = box.querySelector("input");
    // What is on its way there is not known of yet.
    if (document.activeElement !== input && !link.waiting.length) input.value = job.measured[box.dataset.name] ?? "";
    wrong(box, job.unfit[box.dataset.name]);
  }
  at("written").replaceChildren(...job.files.map((file) => element("li", {}, linked(file))));
  for (const result of Array.from(results.values())) show(result);
  asked(job.asks);
}

// What the form round a button has in its fields, for the verb; nothing of a field left empty.
function optionsFor(button) {
  const fields = button.closest("[data-form]")?.querySelectorAll("[data-option]") ?? [];
  const confirmed = stand(button.dataset.errand);
  return Object.fromEntries([...Array.from(fields, (one) => [
    one.dataset.option, one.type === "checkbox" ? one.checked : one.value.trim(),
  ]), ["confirmed", confirmed.length ? confirmed : null]].filter(([, value]) => value));
}

at("show-sections").onclick = async () => {
  const answer = await fetch("/sections");
  if (!answer.ok) return;
  const found = await answer.json();
  at("ways-fault").textContent = inWords(found.fault ?? "");
  if (found.fault) return;
  const { sections, ruled } = found;
  over(divided(found), [
    filled(texts.sectionsShown, { count: sections.length }),
    ruled.length ? filled(texts.ruledShown, { count: ruled.length }) : "",
  ].filter(Boolean).join(". "));
};

for (const button of document.querySelectorAll("[data-errand]")) {
  button.onclick = () => {
    const needed = (button.dataset.needs ?? "").split(" ").filter(Boolean)
      .map((name) => button.closest("[data-form]").querySelector(`[data-option="${name}"]`));
    const empty = needed.find((one) => !one.value.trim());
    if (empty) { sayAt(empty, texts.needed); empty.focus(); return; }
    tap({ do: "errand", kind: button.dataset.errand, options: optionsFor(button) }, button.textContent);
    if (button.dataset.clears !== undefined) for (const one of needed) one.value = "";
  };
}
