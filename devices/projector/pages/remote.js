// The remote: shows the desk it is sent and sends what is tapped. It keeps nothing of its own.
"use strict";

const at = (id) => document.getElementById(id);
const TABS = ["trace", "true", "look", "notes"];
const STEPS = [1, 5, 20];
const NINE = 9;
const KIND_NAMES = {
  all: "all lines", cross: "cross lines", long: "long lines", hem: "hem lines", numeral: "numerals",
  tick: "half ticks", bias: "bias lines", witness: "locating ticks",
};

let desk = null;
let step = 1;
let noteTimer = null;
let shownTarget = null;
let typed = false;

const WORDS = {
  done: (command) => `marking ${command.line === desk.line ? desk.line_name : "a line"} as traced`,
  undone: () => `taking back ${desk.line_name}`,
  nudge: () => "a nudge",
  landed: () => `landing target ${desk.true_up ? desk.true_up.at : ""}`,
  lifted: (command) => `taking back the landing of target ${command.target}`,
  finish: () => "working it out",
  notes: () => "keeping your notes",
  section: (command) => `going to ${command.section}`,
};

function send(command) {
  if (!desk) return;
  const words = command.do in WORDS ? WORDS[command.do](command) : command.do.replaceAll("-", " ");
  say("");
  tap(command, words);
}

function say(text, working = false) {
  at("say").textContent = text.charAt(0).toUpperCase() + text.slice(1);
  at("answer").hidden = !text;
  at("answer").classList.toggle("working", working);
}

// A sign of work at once for what takes its time; the answer comes to the same place.
function showWaiting() {
  const slow = link.waiting.some((one) => ["finish", "landed", "use-true-up", "true-up"].includes(one.command.do));
  const shown = at("answer").classList.contains("working");
  if (slow) say("Working it out…", true);
  else if (shown) say("");
  document.body.setAttribute("aria-busy", Boolean(link.waiting.length));
}

function undone(words) {
  say(`Not done, for want of a connection: ${words.join("; ")}. Look what is lit, then tap once more.`);
}

// What a big button says while nobody answers.
function showLive(live, heardAt) {
  document.body.classList.toggle("adrift", !live);
  at("link").classList.toggle("off", !live);
  at("link").textContent = live ? "In step" : heardAt ? "Not connected" : "Connecting…";
  if (live) { if (desk) show(); return; }
  for (const button of document.querySelectorAll("button.main")) {
    button.dataset.label ||= button.textContent;
    button.disabled = true;
    button.textContent = heardAt ? `Nothing confirmed since ${clock(heardAt)}` : "Connecting…";
  }
}

function options(select, pairs, chosen) {
  const wanted = JSON.stringify(pairs);
  if (select.dataset.shown !== wanted) {
    select.replaceChildren(...pairs.map(([value, text]) => new Option(text, value)));
    select.dataset.shown = wanted;
  }
  select.value = chosen;
}

function items(list, texts) {
  list.replaceChildren(...texts.map((text) => {
    const item = document.createElement("li");
    item.textContent = text;
    return item;
  }));
}

function show() {
  for (const button of document.querySelectorAll("button[data-label]")) {
    button.textContent = button.dataset.label;
    button.disabled = false;
    delete button.dataset.label;
  }
  at("title").textContent = desk.title;
  at("stage").textContent = desk.stage;
  at("stage").hidden = !desk.stage;
  options(at("section"), desk.sections.map((one) => [
    one.id,
    `${one.id} · ${one.traced} of ${one.lines}`,
  ]), desk.section);
  showTrace();
  showTrueUp();
  showLook();
  if (document.activeElement !== at("note")) at("note").value = desk.notes;
  at("another").textContent = `Open ${desk.pairing.address} and type ${desk.pairing.code}.`;
  items(at("warnings"), desk.warnings);
}

function showTrace() {
  const one = desk.sections.find((section) => section.id === desk.section);
  at("untrued").hidden = desk.lit;
  at("untrued").textContent = desk.true_up
    ? "A true-up is under way; finish it to light the lines."
    : `Nothing is lit: ${desk.section} is not trued up yet. Open True up.`;
  at("line").textContent = desk.left ? desk.line_name : "All traced here";
  at("place").textContent = desk.left
    ? `${desk.place[0]} of ${desk.place[1]}${desk.line_traced ? ", traced already" : ""} · ${desk.left} to go`
    : "Go on to the next section.";
  at("progress").max = Math.max(1, one.lines);
  at("progress").value = one.traced;
  at("done").disabled = !desk.lit || !desk.left;
  at("undone").disabled = !desk.line_traced;
  at("blank").setAttribute("aria-pressed", desk.blank);
  at("check").setAttribute("aria-pressed", desk.check);
  at("check").disabled = !desk.witness;
  at("check-hint").textContent = desk.witness
    ? "Check flashes the targets at the locating marks. If they no longer lie on their marks, stop and true up again."
    : "Nothing to check by: this section has no locating marks. The two-target check serves instead.";
}

function showTrueUp() {
  const work = desk.true_up;
  at("no-true-up").hidden = Boolean(work);
  at("true-up").hidden = !work;
  at("landing").hidden = !work;
  at("pad").hidden = !work && !desk.trued;
  at("set-down").textContent =
    `Section ${desk.section} begins ${desk.set_down[0]} along and ${desk.set_down[1]} across, by tape from the zero corner. Bring the picture over it first.`;
  at("quick").disabled = !desk.trued;
  const other = desk.sections.find((one) => one.trued && one.id !== desk.section);
  at("reuse").hidden = !other || Boolean(desk.trued);
  if (other) {
    at("use").textContent = `Nothing has moved since ${other.id}: use its true-up`;
    at("use").dataset.section = other.id;
  }
  at("report").hidden = !desk.trued || Boolean(work);
  const good = Boolean(desk.trued && desk.trued.good && !work);
  at("onward").hidden = !good;
  at("begin").classList.toggle("main", !good);
  at("begin").textContent = desk.trued ? "True up this section anew" : "True up this section";
  at("turning").hidden = at("pad").hidden;
  at("verdict").hidden = at("report").hidden;
  if (desk.trued) showReport(desk.trued);
  if (!work) { shownTarget = null; return; }
  const target = work.targets.find((one) => one.name === work.at);
  at("at").textContent = `Target ${target.name}: ${target.along} along, ${target.across} across`;
  const twice = !work.quick && Number(target.name) > NINE;
  at("what").textContent = (target.what ? `On the ${target.what}.` : "By tape from the zero corner.")
    + (twice ? " This corner a second time, brought there afresh: little else would show a slip." : "");
  for (const unit of document.querySelectorAll(".unit")) unit.textContent = `(${desk.units})`;
  at("from").textContent = `Along is from the zero end, across from the near edge. A number without a unit is read in ${desk.units === "in" ? "inches" : "millimetres"}.`;
  at("how").textContent = work.quick
    ? "If the light lies on this point, it is landed. If not, bring it there with the arrows; then land both a second time."
    : "Bring the light onto this point with the arrows; or leave it, and type what the tape shows where it fell.";
  const key = `${desk.section} ${target.name} ${target.along} ${target.across}`;
  if (key !== shownTarget) {
    at("along").value = target.along;
    at("across").value = target.across;
    shownTarget = key;
    typed = false;
  }
  at("targets").replaceChildren(...work.targets.map((one) => {
    const button = document.createElement("button");
    button.textContent = `${one.name}${one.landed ? " ✓" : ""}`;
    button.setAttribute("aria-label", `Target ${one.name}${one.landed ? ", landed" : ""}`);
    button.setAttribute("aria-pressed", one.name === work.at);
    button.onclick = () => send({ do: "target", target: one.name });
    return button;
  }));
  const landed = work.targets.filter((one) => one.landed).length;
  at("finish").textContent = `Work it out from ${landed} of ${work.targets.length}`;
  at("finish").disabled = landed < (work.quick ? 2 : 4);
  at("finish").classList.toggle("all", landed === work.targets.length);
  at("lifted").disabled = !target.landed;
}

function showReport(trued) {
  at("verdict").textContent = trued.lines[0];
  at("verdict").classList.toggle("say", !trued.good);
  items(at("report-lines"), trued.lines.slice(1));
  items(at("residuals"), trued.residuals);
  at("each").hidden = !trued.residuals.length;
  at("map").tBodies[0].replaceChildren(...trued.map.map((row) => {
    const line = document.createElement("tr");
    line.append(...row.map((error) => {
      const cell = document.createElement("td");
      cell.textContent = error.toFixed(1);
      cell.classList.toggle("over", error > trued.tolerance);
      return cell;
    }));
    return line;
  }));
}

function showLook() {
  at("traced-look").value = desk.traced_look;
  options(at("kind"), ["all", ...desk.kinds].map((kind) => [kind, KIND_NAMES[kind]]), desk.kind);
  if (document.activeElement !== at("width")) at("width").value = desk.width_px;
  at("width-shown").textContent = `${desk.width_px} px`;
  at("outlines").checked = desk.outlines;
  if (at("colours").childElementCount !== desk.colours.length) {
    at("colours").replaceChildren(...desk.colours.map(colourButton));
  }
  for (const button of at("colours").children) {
    button.setAttribute("aria-pressed", button.dataset.colour === desk.colour);
  }
}

const COLOUR_NAMES = ["White", "Green", "Yellow", "Blue", "Pink"];
function colourButton(colour, place) {
  const button = document.createElement("button");
  button.dataset.colour = colour;
  button.setAttribute("aria-label", COLOUR_NAMES[place]);
  const picture = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  picture.setAttribute("viewBox", "0 0 40 40");
  picture.setAttribute("aria-hidden", "true");
  const dot = document.createElementNS("http://www.w3.org/2000/svg", "circle");
  for (const [name, value] of Object.entries({ cx: 20, cy: 20, r: 14, fill: colour })) {
    dot.setAttribute(name, value);
  }
  picture.append(dot);
  button.append(picture);
  button.onclick = () => send({ do: "look", colour });
  return button;
}

function openTab(name) {
  for (const one of TABS) {
    at(one).hidden = one !== name;
    at(`tab-${one}`).setAttribute("aria-selected", one === name);
    at(`tab-${one}`).tabIndex = one === name ? 0 : -1;
  }
}

function done() {
  // The line's name goes along: a tap that comes late must not mark another line.
  if (desk && !(link.live && at("done").disabled)) send({ do: "done", line: desk.line });
}

function land() {
  // What is shown is rounded for the tape; only what was typed is a reading.
  const reading = { along: at("along").value, across: at("across").value };
  send({ do: "landed", ...(typed ? reading : {}) });
}

function nudge(across, down, far = step) {
  send({ do: "nudge", across: across * far, down: down * far });
}

function wire() {
  for (const name of TABS) at(`tab-${name}`).onclick = () => openTab(name);
  document.querySelector("nav").addEventListener("keydown", (event) => {
    const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!by) return;
    event.stopPropagation();
    const now = TABS.findIndex((name) => !at(name).hidden);
    const next = TABS[(now + by + TABS.length) % TABS.length];
    openTab(next);
    at(`tab-${next}`).focus();
  });
  for (const button of document.querySelectorAll("[data-do]")) {
    button.onclick = () => send({ do: button.dataset.do });
  }
  for (const button of document.querySelectorAll("[data-nudge]")) {
    const [across, down] = button.dataset.nudge.split(",").map(Number);
    button.onclick = () => nudge(across, down);
  }
  at("step").onclick = () => {
    step = STEPS[(STEPS.indexOf(step) + 1) % STEPS.length];
    at("step").textContent = `${step} px`;
    at("step").setAttribute("aria-label", `Step of a nudge, ${step} pixels`);
  };
  at("done").onclick = done;
  at("undone").onclick = () => send({ do: "undone" });
  at("section").onchange = (event) => send({ do: "section", section: event.target.value });
  at("blank").onclick = () => send({ do: "blank", on: !desk.blank });
  at("check").onclick = () => send({ do: "check", on: !desk.check });
  at("heard").onclick = () => say("");
  at("onward").onclick = () => { openTab("trace"); scrollTo(0, 0); };
  at("begin").onclick = () => send({ do: "true-up" });
  at("quick").onclick = () => send({ do: "true-up", quick: true });
  at("use").onclick = () => send({ do: "use-true-up", section: at("use").dataset.section });
  at("turn").onclick = () => send({ do: "look", arrows: (desk.arrows + 1) % 4 });
  at("landed").onclick = land;
  for (const field of ["along", "across"]) at(field).oninput = () => { typed = true; };
  at("lifted").onclick = () => send({ do: "lifted", target: desk.true_up.at });
  at("give-up").onclick = () => send({ do: "give-up" });
  at("finish").onclick = () => send({ do: "finish" });
  at("traced-look").onchange = (event) => send({ do: "look", traced_look: event.target.value });
  at("kind").onchange = (event) => send({ do: "look", kind: event.target.value });
  at("width").oninput = (event) => send({ do: "look", width_px: Number(event.target.value) });
  at("outlines").onchange = (event) => send({ do: "look", outlines: event.target.checked });
  at("note").oninput = () => {
    clearTimeout(noteTimer);
    noteTimer = setTimeout(() => send({ do: "notes", text: at("note").value }), 400);
  };
}

const KEYS = {
  " ": done,
  n: () => send({ do: "next-line" }),
  p: () => send({ do: "previous-line" }),
  PageDown: () => send({ do: "next-section" }),
  PageUp: () => send({ do: "previous-section" }),
  b: () => send({ do: "blank", on: !desk.blank }),
  c: () => send({ do: "check", on: !desk.check }),
  Enter: () => desk.true_up && land(),
  ArrowLeft: (far) => nudge(-1, 0, far),
  ArrowRight: (far) => nudge(1, 0, far),
  ArrowUp: (far) => nudge(0, -1, far),
  ArrowDown: (far) => nudge(0, 1, far),
  1: () => openTab("trace"),
  2: () => openTab("true"),
  3: () => openTab("look"),
  4: () => openTab("notes"),
};
addEventListener("keydown", (event) => {
  if (!desk || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input, select, textarea, summary")) return;
  // A focused button keeps Space and Enter for itself.
  if (event.target.closest("button") && (event.key === " " || event.key === "Enter")) return;
  const act = KEYS[event.key];
  if (!act) return;
  event.preventDefault();
  act(event.shiftKey ? 10 : 1);
});

function told(message) {
  if (message.type === "refused") { say(message.say); return; }
  const finished = desk && desk.true_up && !message.true_up;
  desk = message;
  // What was refused before it is settled, at this remote and at any other.
  if (finished) { say(""); scrollTo(0, 0); }
  show();
  if (!link.live) showLive(false, link.heardAt);
}

wire();
join({
  path: "/desk",
  told,
  live: showLive,
  undone,
  waiting: showWaiting,
  opened: () => {},
  ended: (code) => {
    if (code === 4401) location.reload();
    return code === 4401;
  },
});
