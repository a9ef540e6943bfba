// Fields: made from what the server says of each key, filled with what stands in job.toml. What is
// typed is tried at once and kept when the field is left; nothing is checked here.

import { note, refused } from "./refused.js";
import { settle } from "./readings.js";
import { element } from "./results/elements.js";
import { filled, texts } from "./texts.js";
import { named, told } from "./words.js";

const made = new Map();
let last = {};
let job = "";
const COMMIT_MS = 900;
const LENGTHS = new Set(["length", "run", "speed"]);

// A word typed, as job.toml holds it: figures without quotes where figures are wanted.
function word(field, text) {
  return field.figures && /^-?\d+(\.\d+)?$/.test(text) ? Number(text) : text;
}

// What a field says now, as it stands in job.toml; null where it is left to its default.
function said(field, box) {
  if (field.kind === "switch") return box.querySelector("input").checked;
  if (field.kind === "several") {
    if (box.querySelector("[data-left]")?.checked) return null;
    return Array.from(box.querySelectorAll("[data-word]:checked"), (one) => one.dataset.word);
  }
  if (field.kind === "rows") return rows(box);
  const text = box.querySelector("input, select, textarea").value.trim();
  if (text === "") return field.may_be_empty ? [] : null;
  if (field.kind !== "list") return word(field, text);
  return text.split("\n").map((one) => one.trim()).filter(Boolean).map((one) => word(field, one));
}

// A row says what stands in its columns; one in which nothing stands says nothing.
function rows(box) {
  const found = Array.from(box.querySelectorAll(".line"), (line) => Object.fromEntries(
    Array.from(line.querySelectorAll("[data-key]"), (one) => [one.dataset.key, one.value.trim()])
      .filter(([, text]) => text !== ""),
  )).filter((one) => Object.keys(one).some((key) => key !== "side"));
  return found.length ? found : null;
}

function control(field, id) {
  if (field.kind === "switch") {
    return element("label", { class: "check" }, element("input", { type: "checkbox", id }), told(field.label));
  }
  if (field.kind === "several") {
    const set = element("fieldset", {}, element("legend", {}, told(field.label)));
    const tick = (attributes, text) => element("label", { class: "check" },
      element("input", { type: "checkbox", ...attributes }), text);
    if (field.may_be_left) set.append(tick({ "data-left": "" }, texts.asTheJob));
    for (const one of field.choices) set.append(tick({ "data-word": one }, told(one)));
    return set;
  }
  if (field.kind === "rows") {
    const set = element("fieldset", {}, element("legend", {}, told(field.label)), element("div", { class: "lines" }));
    const add = element("button", { type: "button" }, texts.addRow);
    add.onclick = () => { set.querySelector(".lines").append(line(field, {}, set)); };
    set.append(add);
    return set;
  }
  const label = element("label", { for: id }, told(field.label));
  if (field.kind === "choice") {
    const select = element("select", { id });
    named(...Object.keys(field.known_as));
    if (field.may_be_left) select.append(new Option(texts.leftOpen, ""));
    for (const one of field.choices) {
      const known = field.known_as[one];
      select.append(new Option(known ? filled(texts.stock, { known: told(known), name: one }) : told(one), one));
    }
    return element("div", {}, label, select);
  }
  if (field.kind === "list") return element("div", {}, label, element("textarea", { id, rows: field.lines || 4, "data-length": field.of_lengths ? "length" : null }));
  const input = element("input", {
    id, autocomplete: "off", spellcheck: "false",
    inputmode: field.kind === "whole" ? "numeric" : null,
    "data-length": LENGTHS.has(field.kind) ? field.kind : null,
  });
  return element("div", {}, label, input);
}

// One row of a field that holds several: a control for each column, and a button that takes it away.
function line(field, values, box) {
  const one = element("div", { class: "line" });
  for (const column of field.columns) {
    const control = column.kind === "choice" ? element("select", {}) : element("input", { autocomplete: "off" });
    control.dataset.key = column.key;
    if (LENGTHS.has(column.kind)) control.dataset.length = column.kind;
    if (column.kind === "choice") for (const word of column.choices) control.append(new Option(told(word), word));
    else control.placeholder = last[field.name]?.examples?.[column.key] ?? "";
    if (values[column.key] !== undefined) control.value = values[column.key];
    control.setAttribute("aria-label", told(column.label));
    control.title = told(column.help);
    one.append(element("label", {}, told(column.label), control));
  }
  const away = element("button", { type: "button" }, texts.takeAway);
  away.onclick = () => {
    one.remove();
    box.dispatchEvent(new Event("input", { bubbles: true }));
    box.dispatchEvent(new Event("change", { bubbles: true }));
  };
  one.append(away);
  return one;
}

// A field and what it does: on.tried(field, value), on.kept(field, value); and on.again(field, value)
// tries what was refused before the page was loaded anew.
export function make(field, on) {
  const id = `field-${field.name.replaceAll(".", "-")}`;
  const box = element("div", { class: "field", "data-name": field.name });
  const help = element("p", { class: "help", id: `${id}-help` }, told(field.help));
  const fault = element("p", { class: "fault", id: `${id}-fault`, role: "alert" });
  box.append(control(field, id), help, fault);
  const inputs = box.querySelectorAll("input, select, textarea, fieldset");
  for (const input of inputs) input.setAttribute("aria-describedby", `${id}-fault ${id}-help`);
  const state = { field, box, fault, typed: false, sent: null, refused: null, held: false, timer: 0, again: on.again };
  const keep = () => {
    clearTimeout(state.timer);
    const now = JSON.stringify(said(field, box));
    // What is known to be wrong stays as it was typed, with what is wrong beside it.
    if (!state.typed || state.refused === now) return;
    state.sent = now;
    on.kept(field, said(field, box));
  };
  box.addEventListener("input", (event) => {
    state.typed = true;
    state.held = false;
    if (field.kind === "several" && field.may_be_left) leftOrNot(box, event.target);
    on.tried(field, said(field, box));
    clearTimeout(state.timer);
    state.timer = setTimeout(keep, COMMIT_MS);
  });
  box.addEventListener("change", keep);
  box.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && field.kind !== "list" && event.target.tagName !== "BUTTON") {
      if (state.held) state.refused = null;
      state.held = false;
      keep();
    }
    if (event.key === "Escape" && state.typed) {
      forget(state);
      note(job, field.name, undefined);
      fill(last);
    }
  });
  state.keep = keep;
  made.set(field.name, state);
  return box;
}

// Words are ticked, or it is left to what the job says.
function leftOrNot(box, ticked) {
  const left = box.querySelector("[data-left]");
  if (ticked !== left) left.checked = false;
  else if (left.checked) for (const one of box.querySelectorAll("[data-word]")) one.checked = false;
}

function shown(field, box, value) {
  const now = value.written ?? (field.may_be_left ? null : value.holds);
  if (field.kind === "switch") { box.querySelector("input").checked = now === true; return; }
  if (field.kind === "several") {
    for (const one of box.querySelectorAll("[data-word]")) one.checked = (now || []).includes(one.dataset.word);
    if (field.may_be_left) box.querySelector("[data-left]").checked = now === null;
    return;
  }
  if (field.kind === "rows") {
    if (JSON.stringify(rows(box)) === JSON.stringify(now?.length ? now : null)) return;
    const all = Array.isArray(now) ? now : [];
    box.querySelector(".lines").replaceChildren(...all.map((one) => line(field, one, box.querySelector("fieldset"))));
    return;
  }
  const input = box.querySelector("input, select, textarea");
  if (field.kind === "choice") {
    const words = Array.isArray(now) ? now.join(", ") : now === null ? "" : String(now);
    if (words && !field.choices.includes(words)) input.append(new Option(words, words));
    input.value = words;
    return;
  }
  const text = (list) => Array.isArray(list) ? list.join("\n") : String(list ?? "");
  const empty = field.may_be_empty && value.written?.length === 0;
  input.value = value.written === null ? "" : text(value.written);
  const holds = value.written === null && text(value.holds);
  input.placeholder = empty ? texts.none : field.key === "name" && holds ? told(holds) : holds || value.example;
}

function forget(state) {
  clearTimeout(state.timer);
  state.typed = state.held = false;
  state.refused = null;
}

// What was typed for another job is nothing to this one.
export async function fillFor(folder, values) {
  if (folder === job) { fill(values); return; }
  job = folder;
  for (const state of made.values()) forget(state);
  fill(values);
  for (const [name, value] of Object.entries(refused(folder))) {
    const state = made.get(name);
    if (!state || state.typed || job !== folder) continue;
    shown(state.field, state.box, { written: value, holds: null, example: values[name]?.example });
    state.typed = true;
    // Nothing of it is kept unless a person says so anew, even where nothing is against it now,
    // nor while that is asked: the job may change meanwhile.
    state.refused = JSON.stringify(said(state.field, state.box));
    state.held = true;
    await state.again(state.field, value);
    if (!state.typed || !state.held) continue;
    state.held = state.refused === null;
    if (state.held) {
      state.refused = JSON.stringify(said(state.field, state.box));
      tell(state, texts.typedBefore);
    }
  }
}

// Puts what stands in job.toml into every field but those that are being typed in.
function fill(values) {
  last = values;
  for (const [name, state] of made) {
    const value = values[name];
    if (!value) continue;
    // What was sent and is there now is no longer being typed.
    if (state.typed && state.sent === JSON.stringify(value.written)
      && state.sent === JSON.stringify(said(state.field, state.box))) state.typed = false;
    if (state.typed) continue;
    state.sent = null;
    shown(state.field, state.box, value);
    state.refused = null;
    tell(state, value.fault);
  }
  settle();
}

// Tries what was refused once more: what it was against may have given way.
export function keepRefused() {
  for (const state of made.values()) {
    if (!state.typed || !state.refused || state.held || state.box.contains(document.activeElement)) continue;
    state.refused = null;
    state.keep();
  }
}

// Keeps what was typed and left while nobody heard.
export function keepTyped() {
  for (const { box, keep } of made.values()) if (!box.contains(document.activeElement)) keep();
}

// Says what is wrong with a field's value, and notes which value that was: another may be kept. What
// is wrong elsewhere because of it is said here too.
export function judged(name, value, found) {
  const state = made.get(name);
  // It was let go of meanwhile, or is another job's by now.
  if (!state?.typed) return;
  state.refused = found.fate === "refused" ? JSON.stringify(value) : null;
  note(job, name, state.refused === null ? undefined : value);
  tell(state, found.faults[name] || found.refused);
}

// Says what is wrong with every other field, but for those in which a wrong value waits.
export function tellOthers(name, faults) {
  for (const [other, state] of made) {
    if (other !== name && !(state.typed && state.refused)) tell(state, faults[other]);
  }
}

function tell(state, words) {
  state.fault.textContent = told(words) || "";
  // What is wrong is in sight.
  if (words) for (let more = state.box.closest("details"); more; more = more.parentElement.closest("details")) more.open = true;
  state.box.classList.toggle("wrong", Boolean(words));
  for (const input of state.box.querySelectorAll("input, select, textarea")) {
    input.setAttribute("aria-invalid", Boolean(words));
  }
}
