// Marking: the machine as it is told, its keys, and what it has drawn. Only the page that holds the
// machine presses its keys; any page stops it.
import { ended as showEnded, show as showCard } from "./cards.js";
import { drawing, inked } from "./picture.js";
import { chosenPort, ports } from "./ports.js";
import { filled, texts } from "./texts.js";
import { told } from "./words.js";

const at = (id) => document.getElementById(id);
const PRESSED = {
  ArrowUp: "up", ArrowDown: "down", ArrowLeft: "left", ArrowRight: "right", Enter: "enter",
  n: "n", r: "r", Backspace: "backspace", p: "p", 1: "1", 2: "2", 3: "3",
};

let lookedAt = null;
let machine = { running: false, ended: null, lines: [] };

const mine = () => machine.holder === link.page;

export function press(key) {
  tap({ do: "machine", act: "key", key }, filled(texts.key, { key }));
}

export function show(message) {
  const was = machine;
  machine = message;
  at("stop").disabled = !machine.running;
  // Another language loads the page anew, which would let go of the machine.
  for (const id of ["rehearse", "ink", "ink-all", "draw-square", "draw-corrected", "ask-ports", "language"]) at(id).disabled = machine.running;
  const stranded = document.activeElement === document.body || at("mark").contains(document.activeElement);
  const within = at("running").contains(document.activeElement);
  at("running").hidden = !machine.running;
  at("begin").hidden = machine.running;
  at("mark").classList.toggle("rehearsal", machine.running && machine.rehearsal);
  showCard(machine);
  // What comes next is in sight of whoever is at it.
  if (machine.running && machine.card !== was.card && within) document.querySelector("#running .card:not([hidden])")?.scrollIntoView();
  const asks = told(machine.asks);
  if (at("asks").textContent !== asks) at("asks").textContent = asks;
  at("answers").hidden = !machine.asks || !mine();
  const types = machine.types && mine();
  const typesNow = types && at("typing").hidden;
  at("typing").hidden = !types;
  if (typesNow) {
    at("typed").value = "";
    if (within) at("typed").focus();
  }
  at("typed-asks").textContent = told(machine.types);
  for (const button of document.querySelectorAll("#running [data-key]")) button.disabled = !mine();
  at("take").hidden = mine();
  at("held").textContent = !machine.running ? ended()
    : [machine.rehearsal ? texts.rehearsal : filled(texts.inkingAt, machine), mine() ? texts.holdsHere : texts.holdsElsewhere].join(" ");
  at("told").replaceChildren(...machine.lines.map((text) => {
    const one = document.createElement("li");
    one.textContent = told(text);
    return one;
  }));
  at("told").scrollTop = at("told").scrollHeight;
  if (machine.running && !was.running) look();
  // What was pressed can be pressed no more: the keys go on where the person is.
  if (machine.running && !was.running && mine() && (stranded || machine.scrap)) at("running").focus();
  // A card that goes takes no focus with it.
  if (machine.running && within && !document.activeElement.checkVisibility()) at("running").focus();
  if (!machine.running && machine.ended !== null) showEnded(machine, begin);
  if (!machine.running && was.running) {
    look();
    drawing(null);
    if (stranded) at("mark").focus();
  }
}

function ended() {
  if (machine.ended === null || machine.ended === undefined) return "";
  return machine.ended === 0 ? texts.endedWell : texts.endedEarly;
}

export async function look() {
  try {
    const answer = await fetch("/inked");
    if (answer.ok) inked(await answer.json());
  } catch { /* the connection's own line tells */ }
}

// Shows what lies on the cover anew where the record says more: a line traced by light, ink laid
// from a terminal. What this bench's own machine draws comes stroke by stroke.
export function lookAt(state) {
  if (state === lookedAt || machine.running) return;
  lookedAt = state;
  look();
}

// Inks `most` sections, or all there are.
function begin(most, moved) {
  const port = chosenPort();
  if (!port) return;
  const sent = tap({
    do: "machine", act: "ink", port, ...(most ? { most } : {}), moved,
    verniers: at("verniers").checked, pointer: at("pointer-anew").checked,
    anyway: at("ink-anyway").value.trim(), untried: at("ink-untried").value.trim(),
  }, texts.ink);
  if (!sent) return;
  // It was said of this run; by the next the marks are read.
  at("moved").checked = at("pointer-anew").checked = false;
  at("ink-anyway").value = at("ink-untried").value = "";
}

function typed() {
  const text = at("typed").value.trim();
  tap({ do: "machine", act: "typed", text }, filled(texts.typedAnswer, { text }));
}

at("rehearse").onclick = () => tap({ do: "machine", act: "rehearse", most: 1 }, texts.rehearse);
for (const [id, corrected, back] of [["draw-square", false, "#on-scrap"], ["draw-corrected", true, "#see-corrected"]]) {
  at(id).onclick = () => {
    const port = chosenPort();
    if (!port) return;
    at("go-measure").href = back;
    tap({ do: "machine", act: "square", port, corrected }, at(id).textContent);
  };
}
at("ink").onclick = () => begin(1, at("moved").checked);
at("ink-all").onclick = () => begin(null, at("moved").checked);
at("typed-send").onclick = typed;
at("typed").onkeydown = (event) => {
  if (event.key !== "Enter") return;
  event.preventDefault();
  if (!event.repeat) typed();
};
at("take").onclick = () => tap({ do: "machine", act: "take" }, texts.holdHere);
// A stop waits for no turn, and goes by another way where the connection is gone.
function stop() {
  if (socket && socket.readyState === WebSocket.OPEN) socket.send('{"stop":1}');
  else fetch("/stop", { method: "POST" }).catch(() => {});
}

at("stop").onclick = stop;
for (const button of document.querySelectorAll("#running [data-key]")) {
  button.onclick = () => press(button.dataset.key);
}
document.addEventListener("keydown", (event) => {
  if (!machine.running) return;
  if (event.key === "Escape") { stop(); event.preventDefault(); return; }
  if (!mine() || !at("mark").contains(document.activeElement)) return;
  // Ctrl R and Ctrl P are the browser's.
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  // A focused button is pressed by Enter itself, and what is typed is no key of the machine's.
  if (event.target.matches("input, select, textarea, summary")) return;
  // Held down, a key moves the pen on and on, but answers once: the next question is another.
  if (event.repeat && event.key in PRESSED && !event.key.startsWith("Arrow")) {
    event.preventDefault();
    return;
  }
  if (event.key === "Enter" && event.target.matches("button, a")) return;
  if (!(event.key in PRESSED)) return;
  press(PRESSED[event.key]);
  event.preventDefault();
});
ports();
