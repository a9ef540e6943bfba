// Ports: those of this computer, one typed by hand, and what answers at each.
import { filled, texts } from "./texts.js";
import { told } from "./words.js";

const at = (id) => document.getElementById(id);

const answers = new Map();
let machine = "";

const wanted = () => at("port-typed").value.trim() || at("port").value;

// Beside each button that begins to ink: which machine, and where.
function where() {
  const port = wanted();
  const text = !port ? texts.inksNowhere : answers.has(port) ? texts.inksWhere : texts.inksAt;
  for (const one of document.querySelectorAll(".where")) {
    one.textContent = filled(text, { machine: told(machine), port, answers: answers.get(port) });
  }
}

// Of the job that is shown: what its plotter is called.
export function plotter(name) {
  machine = name;
  where();
}

// The port to drive by: the one typed, else the one chosen.
export function chosenPort() {
  const port = wanted();
  fault(port ? "" : texts.portNeeded);
  if (!port) at("port-typed").focus();
  return port;
}

function fault(words) {
  at("port-fault").textContent = words;
  at("port-typed").setAttribute("aria-invalid", Boolean(words));
}

export async function ports() {
  try {
    const answer = await fetch("/ports");
    if (!answer.ok) return;
    const found = await answer.json();
    const before = at("port").value;
    at("port").replaceChildren(...found.map((one) => new Option(one.about ? filled(texts.port, { ...one, about: told(one.about) }) : one.name, one.name)));
    if (!found.length) at("port").append(new Option(texts.noPort, ""));
    if (found.some((one) => one.name === before)) at("port").value = before;
    where();
  } catch { /* the connection's own line tells */ }
}

// What came of asking.
export function show(message) {
  for (const one of message.result?.ports ?? []) {
    if (one.answers) answers.set(one.port, one.answers); else answers.delete(one.port);
  }
  where();
  if (message.code !== 0 || !message.result) { at("port-answers").replaceChildren(); return; }
  at("port-answers").replaceChildren(...message.result.ports.map((one) => {
    const row = document.createElement("li");
    row.textContent = filled(texts.portSays, { ...one, says: told(one.says) });
    return row;
  }));
  if (!message.result.ports.length) at("port-answers").textContent = texts.noPort;
}

at("look-again").onclick = ports;
at("port").onchange = where;
at("port-typed").oninput = () => {
  fault("");
  where();
};
at("ask-ports").onclick = () => {
  const typed = at("port-typed").value.trim();
  tap({ do: "errand", kind: "ports", options: typed ? { port: typed } : {} }, at("ask-ports").textContent);
};
