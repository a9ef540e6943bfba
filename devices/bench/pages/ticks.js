// Lines ruled by hand, ticked off one by one: by check boxes, or by a tap on the line in the picture.
import { onLine, ticked } from "./picture.js";
import { texts } from "./texts.js";

const at = (id) => document.getElementById(id);
// What is still to be sent, line by line: an errand that is begun anew would end the one before.
const waits = new Map();
let lines = [];
let busy = false;
// What this page sent last, until it is answered.
let sent = null;

export function show(message) {
  if (message.kind === "to-tick" && message.code === 0 && message.result) list(message.result.lines);
  if (!["ruled", "unruled", "to-tick"].includes(message.kind)) return;
  busy = message.code === null;
  if (busy || at("ticks").hidden) return;
  if (message.kind === "to-tick") { send(); return; }
  const kept = sent && message.code === 0;
  if (kept) list(lines.map((one) => ({ ...one, ruled: sent.names.includes(one.name) ? sent.ruled : one.ruled })));
  sent = null;
  // What another page ticked, or was refused, is asked for anew.
  if (!send() && !kept) ask();
}

// Another job's lines are none of this one's.
export function forget() {
  waits.clear();
  lines = [];
  sent = null;
  at("ticks").hidden = true;
  at("tick-kinds").replaceChildren();
  ticked(new Set());
}

function ask() { tap({ do: "errand", kind: "to-tick" }, texts.tickRuled); }

function list(found) {
  lines = found;
  at("ticks").hidden = false;
  ticked(new Set(lines.filter((one) => one.ruled).map((one) => one.of)));
  if (at("tick-kinds").querySelectorAll("input").length === lines.length) {
    for (const one of lines) if (!waits.has(one.name)) box(one).checked = one.ruled;
    return;
  }
  const kinds = [
    [texts.crossLines, lines.filter((one) => /^\d+$/.test(one.name))],
    [texts.otherLines, lines.filter((one) => !/^\d+$/.test(one.name))],
  ];
  at("tick-kinds").replaceChildren(...kinds.filter(([, of]) => of.length).map(([kind, of]) => {
    const set = document.createElement("fieldset"), name = document.createElement("legend");
    name.textContent = kind;
    set.className = "ticks";
    set.append(name, ...of.map((one) => {
      const label = document.createElement("label"), tick = document.createElement("input");
      label.className = "check";
      tick.type = "checkbox";
      tick.checked = one.ruled;
      tick.dataset.line = one.name;
      tick.onchange = () => changed(one.name, tick.checked);
      label.append(tick, one.name);
      return label;
    }));
    return set;
  }));
}

const box = (one) => at("tick-kinds").querySelector(`[data-line="${CSS.escape(one.name)}"]`);

function changed(name, ruled) {
  waits.set(name, ruled);
  if (!busy) send();
}

// Sends what waits, those that are ruled first; whether there was anything.
function send() {
  for (const [kind, ruled] of [["ruled", true], ["unruled", false]]) {
    const names = Array.from(waits).filter(([, now]) => now === ruled).map(([name]) => name);
    if (!names.length) continue;
    for (const name of names) waits.delete(name);
    busy = true;
    sent = { names, ruled };
    tap({ do: "errand", kind, options: { lines: names.join(",") } }, texts.tickRuled);
    return true;
  }
  return false;
}

onLine((stroke) => {
  const one = lines.find((line) => line.of === stroke);
  if (!one || at("ticks").hidden) return;
  box(one).checked = !box(one).checked;
  changed(one.name, box(one).checked);
});
