// Fields: made from what the server says of each key, filled with what stands in job.toml. What is
// typed is tried at once and kept when the field is left; nothing is checked here.

import { told } from "./words.js";

const made = new Map();
let last = {};
const COMMIT_MS = 900;

function element(tag, attributes = {}, ...children) {
  const one = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined) one.setAttribute(name, value);
  }
  one.append(...children);
  return one;
}

// What a field says now, as it stands in job.toml; null where it is left to its default.
function said(field, box) {
  if (field.kind === "switch") return box.querySelector("input").checked;
  if (field.kind === "several") {
    return Array.from(box.querySelectorAll("input:checked"), (one) => one.value);
  }
  const text = box.querySelector("input, select, textarea").value.trim();
  if (text === "") return null;
  if (field.kind === "whole") return /^-?\d+$/.test(text) ? Number(text) : text;
  if (field.kind === "list") return text.split("\n").map((one) => one.trim()).filter(Boolean);
  return text;
}

function control(field, id) {
  if (field.kind === "switch") {
    return element("label", { class: "check" }, element("input", { type: "checkbox", id }), told(field.label));
  }
  if (field.kind === "several") {
    const set = element("fieldset", {}, element("legend", {}, told(field.label)));
    for (const word of field.choices) {
      set.append(element("label", { class: "check" }, element("input", { type: "checkbox", value: word }), told(word)));
    }
    return set;
  }
  const label = element("label", { for: id }, told(field.label));
  if (field.kind === "choice") {
    const select = element("select", { id });
    // Without a machine of its own kind a job is a job.
    if (field.may_be_none) select.append(new Option("", ""));
    for (const word of field.choices) select.append(new Option(chosen(field, word), word));
    return element("div", {}, label, select);
  }
  if (field.kind === "list") return element("div", {}, label, element("textarea", { id, rows: 4 }));
  const input = element("input", {
    id, autocomplete: "off", spellcheck: "false",
    inputmode: field.kind === "whole" ? "numeric" : null,
  });
  return element("div", {}, label, input);
}

// A choice in words; a stock profile goes by its name.
const chosen = (field, word) => (field.may_be_none ? word : told(word));

// A field and what it does: on.tried(field, value), on.kept(field, value).
export function make(field, on) {
  const id = `field-${field.name.replaceAll(".", "-")}`;
  const box = element("div", { class: "field", "data-name": field.name });
  const help = element("p", { class: "help", id: `${id}-help` }, told(field.help));
  const fault = element("p", { class: "fault", id: `${id}-fault`, role: "alert" });
  box.append(control(field, id), help, fault);
  const inputs = box.querySelectorAll("input, select, textarea");
  for (const input of inputs) input.setAttribute("aria-describedby", `${id}-fault ${id}-help`);
  const state = { field, box, fault, typed: false, sent: null, refused: null, timer: 0 };
  const keep = () => {
    clearTimeout(state.timer);
    const now = JSON.stringify(said(field, box));
    // What is known to be wrong stays as it was typed, with what is wrong beside it.
    if (!state.typed || state.refused === now) return;
    state.sent = now;
    on.kept(field, said(field, box));
  };
  box.addEventListener("input", () => {
    state.typed = true;
    on.tried(field, said(field, box));
    clearTimeout(state.timer);
    state.timer = setTimeout(keep, COMMIT_MS);
  });
  box.addEventListener("change", keep);
  box.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && field.kind !== "list") keep();
    if (event.key === "Escape" && state.typed) {
      state.typed = false;
      state.refused = null;
      fill(last);
      event.stopPropagation();
    }
  });
  state.keep = keep;
  made.set(field.name, state);
  return box;
}

function shown(field, box, value) {
  const now = value.written ?? value.holds;
  if (field.kind === "switch") { box.querySelector("input").checked = now === true; return; }
  if (field.kind === "several") {
    for (const one of box.querySelectorAll("input")) one.checked = (now || []).includes(one.value);
    return;
  }
  const input = box.querySelector("input, select, textarea");
  if (field.kind === "choice") {
    if (now !== null && !field.choices.includes(now)) input.append(new Option(now, now));
    input.value = now ?? "";
    return;
  }
  const text = (list) => Array.isArray(list) ? list.join("\n") : String(list ?? "");
  input.value = value.written === null ? "" : text(value.written);
  input.placeholder = value.written === null ? text(value.holds) || field.example : field.example;
}

// Puts what stands in job.toml into every field but those that are being typed in.
export function fill(values) {
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
}

// Keeps what was typed and left while nobody heard.
export function keepTyped() {
  for (const { box, keep } of made.values()) if (!box.contains(document.activeElement)) keep();
}

// Says what is wrong with a field's value, and notes which value that was: another may be kept.
export function judged(name, value, faults) {
  const state = made.get(name);
  if (!state) return;
  state.refused = faults[name] ? JSON.stringify(value) : null;
  tell(state, faults[name]);
}

// Says what is wrong with every other field, but for those in which a wrong value waits.
export function tellOthers(name, faults) {
  for (const [other, state] of made) {
    if (other !== name && !(state.typed && state.refused)) tell(state, faults[other]);
  }
}

function tell(state, words) {
  state.fault.textContent = told(words) || "";
  state.box.classList.toggle("wrong", Boolean(words));
  for (const input of state.box.querySelectorAll("input, select, textarea")) {
    input.setAttribute("aria-invalid", Boolean(words));
  }
}
