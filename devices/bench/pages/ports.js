// Ports: those of this computer, one typed by hand, and what answers at each.
import { filled, texts } from "./texts.js";
import { told } from "./words.js";

const at = (id) => document.getElementById(id);

// The port to drive by: the one typed, else the one chosen.
export function chosenPort() {
  const port = at("port-typed").value.trim() || at("port").value;
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
    at("port").replaceChildren(...found.map((one) => new Option(filled(texts.port, { ...one, about: told(one.about) }), one.name)));
    if (!found.length) at("port").append(new Option(texts.noPort, ""));
    if (found.some((one) => one.name === before)) at("port").value = before;
  } catch { /* the connection's own line tells */ }
}

// What came of asking.
export function show(message) {
  if (message.code !== 0 || !message.result) { at("port-answers").replaceChildren(); return; }
  at("port-answers").replaceChildren(...message.result.ports.map((one) => {
    const row = document.createElement("li");
    row.textContent = filled(texts.portSays, { ...one, says: told(one.says) });
    return row;
  }));
  if (!message.result.ports.length) at("port-answers").textContent = texts.noPort;
}

at("look-again").onclick = ports;
at("port-typed").oninput = () => fault("");
at("ask-ports").onclick = () => {
  const typed = at("port-typed").value.trim();
  tap({ do: "errand", kind: "ports", options: typed ? { port: typed } : {} }, at("ask-ports").textContent);
};
