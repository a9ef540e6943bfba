// Errands: verbs run for the page, and what they printed. Nothing is worked out here.
import { length } from "./picture.js";

const at = (id) => document.getElementById(id);
const CORNER_RUNS = ["AB", "BC", "CD", "DA", "AC", "BD"];
const results = new Map();
let job = null;

function element(tag, attributes = {}, ...children) {
  const one = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) if (value !== null) one.setAttribute(name, value);
  one.append(...children);
  return one;
}

export function show(message) {
  results.set(message.kind, message);
  for (const place of document.querySelectorAll(".outcome")) {
    if (place.dataset.of.split(" ").includes(message.kind)) place.replaceChildren(...outcome(message));
  }
  for (const button of document.querySelectorAll("[data-errand]")) {
    if (button.dataset.errand === message.kind) button.disabled = message.code === null;
  }
  if (message.code !== 0 || !message.result) return;
  if (message.result.ways) ways(message.result);
  if (message.kind === "to-prove") distances(message.result.distances);
}

function outcome(message) {
  if (message.code === null) return [element("p", { role: "status" }, "Working…")];
  const said = [];
  if (job && message.of !== job.drawn) {
    said.push(element("p", { class: "old" }, "The job has changed since; ask again."));
  }
  const verdict = message.result && message.result.verdict;
  if (verdict) said.push(element("p", { class: "verdict" }, String(verdict)));
  if (message.said.length) {
    const list = element("ul", { class: message.code ? "fault" : null });
    for (const line of message.said) list.append(element("li", {}, line));
    said.push(list);
  } else if (message.code === 0) said.push(element("p", { role: "status" }, "Done."));
  return said;
}

const hours = ([low, high]) => `${low.toFixed(1)} to ${high.toFixed(1)} h`;

function ways(found) {
  at("ways-table").replaceChildren(...found.ways.map((one) => {
    const now = chosen() === one.id;
    const choose = element("button", { "aria-pressed": String(now), class: now ? "main" : null },
      now ? "Chosen" : "Choose");
    choose.onclick = () => tap({ do: "set", name: "ways.way", value: one.id }, "Choose a way");
    const held = one.worst_line_mm === null ? "" : ` Worst line ${length(one.worst_line_mm)}, worst step ${length(one.worst_step_mm)}.`;
    const needs = one.needs.length ? ` Needs ${one.needs.join(", ")}.` : "";
    return element("article", { class: now ? "card chosen" : "card", "aria-label": one.says },
      element("div", { class: "row" }, choose, element("strong", {}, one.says)),
      element("p", { class: "big" }, `${hours(one.person_hours)} of a person's time`),
      element("p", {}, `${one.id === found.best ? "The least hours of those that hold. " : ""}By the clock ${hours(one.clock_hours)}, with ${one.people === 1 ? "one person" : `${one.people} people`}.${held}${needs}`),
      element("p", { class: one.holds ? "hint" : "fault" }, one.holds ? one.why : `Does not hold: ${one.why}`));
  }));
}

const chosen = () => (job ? job.values["ways.way"].written : null);

// A length that is typed for a verb to read; it waits in the job's folder until that verb runs.
function measured(name, label, help) {
  const id = `measured-${name.replaceAll(".", "-")}`;
  const input = element("input", { id, autocomplete: "off", "aria-describedby": `${id}-help` });
  input.value = job?.measured[name] ?? "";
  input.onchange = () => tap({ do: "set", name, value: input.value.trim() || null }, label);
  return element("div", { class: "field", "data-name": name },
    element("label", { for: id }, label), input, element("p", { class: "help", id: `${id}-help` }, help));
}

function distances(list) {
  at("proof-fields").replaceChildren(...list.map((one) => measured(
    `proved.${one.id}`, `${one.id}: ${one.between.join(" to ")}`, `${one.purpose}; near ${length(one.nominal)}`,
  )));
}

export function told(message) {
  const before = job;
  job = message;
  if (!before) {
    at("square-fields").replaceChildren(...CORNER_RUNS.map((run) => measured(
      `squared.${run}`, `${run[0]} to ${run[1]}`, "As the tape showed it on the scrap.",
    )));
  }
  for (const box of document.querySelectorAll(".measured .field")) {
    const input = box.querySelector("input");
    if (document.activeElement !== input) input.value = job.measured[box.dataset.name] ?? "";
  }
  at("written").replaceChildren(...job.files.map((file) => element("li", {},
    element("a", { href: `/out/${file.name}`, target: "_blank", rel: "noopener" }, file.name))));
  for (const [, result] of results) show(result);
}

for (const button of document.querySelectorAll("[data-errand]")) {
  button.onclick = () => tap({ do: "errand", kind: button.dataset.errand }, button.textContent);
}

at("tick-ruled").onclick = () => {
  tap({ do: "errand", kind: "ruled", lines: at("ruled-lines").value.trim() }, "Tick ruled lines");
  at("ruled-lines").value = "";
};
