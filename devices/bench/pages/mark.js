// Marking: the machine as it is told, its keys, and what it has drawn. Only the page that holds the
// machine presses its keys; any page stops it.
import { inked } from "./picture.js";
import { filled, texts } from "./texts.js";
import { told } from "./words.js";

const at = (id) => document.getElementById(id);
const LOOK_MS = 700;
const PRESSED = {
  ArrowUp: "up", ArrowDown: "down", ArrowLeft: "left", ArrowRight: "right", Enter: "enter",
  n: "n", r: "r", Backspace: "backspace", p: "p", 1: "1", 2: "2", 3: "3",
};

let machine = { running: false, lines: [] };
let lookTimer = 0;

const mine = () => machine.holder === link.page;

export function press(key) {
  tap({ do: "machine", act: "key", key }, filled(texts.key, { key }));
}

export function show(message) {
  const was = machine;
  machine = message;
  at("stop").disabled = !machine.running;
  // Another language loads the page anew, which would let go of the machine.
  at("language").disabled = machine.running;
  at("rehearse").disabled = at("ink").disabled = machine.running;
  const stranded = document.activeElement === document.body || at("mark").contains(document.activeElement);
  at("running").hidden = !machine.running;
  at("mark").classList.toggle("rehearsal", machine.running && machine.rehearsal);
  at("asks").textContent = told(machine.asks);
  at("answers").hidden = !machine.asks || !mine();
  for (const button of document.querySelectorAll("#running [data-key]")) button.disabled = !mine();
  at("take").hidden = mine();
  at("held").textContent = !machine.running ? ended()
    : `${machine.rehearsal ? `${texts.rehearsal} ` : ""}${mine() ? texts.holdsHere : texts.holdsElsewhere}`;
  at("told").replaceChildren(...machine.lines.map((text) => {
    const one = document.createElement("li");
    one.textContent = told(text);
    return one;
  }));
  at("told").scrollTop = at("told").scrollHeight;
  if (machine.running && !lookTimer) lookTimer = setInterval(look, LOOK_MS);
  if (!machine.running && lookTimer) { clearInterval(lookTimer); lookTimer = 0; }
  // What was pressed can be pressed no more: the keys go on where the person is.
  if (machine.running && !was.running && mine() && stranded) at("running").focus();
  if (!machine.running && was.running) {
    look();
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

async function ports() {
  try {
    const answer = await fetch("/ports");
    if (!answer.ok) return;
    const found = await answer.json();
    at("port").replaceChildren(...found.map((one) => new Option(filled(texts.port, { ...one, about: told(one.about) }), one.name)));
    if (!found.length) at("port").append(new Option(texts.noPort, ""));
  } catch { /* as above */ }
}

at("rehearse").onclick = () => tap({ do: "machine", act: "rehearse", most: 1 }, texts.rehearse);
at("ink").onclick = () => {
  tap({ do: "machine", act: "ink", port: at("port").value, most: 1, moved: at("moved").checked }, texts.ink);
  // It was said of this run; by the next the marks are read.
  at("moved").checked = false;
};
at("take").onclick = () => tap({ do: "machine", act: "take" }, texts.holdHere);
at("look-again").onclick = ports;
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
  // A focused button is pressed by Enter itself.
  if (event.key === "Enter" && event.target.matches("button, a")) return;
  if (!(event.key in PRESSED)) return;
  press(PRESSED[event.key]);
  event.preventDefault();
});
ports();
