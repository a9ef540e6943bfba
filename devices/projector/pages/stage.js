// The stage: draws what it is sent, at the display's own pixels, and reports what it is shown on.
"use strict";

const canvas = document.getElementById("light");
const pen = canvas.getContext("2d", { alpha: false });
const pairing = document.getElementById("pairing");
const notice = document.getElementById("notice");
const take = document.getElementById("take");

const ASIDE = { witness: "#ff5050", name: "#7a5a1e", scale: "#ffb030" };
const OPEN_LIGHT = 0.6;
const TRACED_LIGHT = 0.2;
const FLASH_MS = 400;

let scene = { lines: [], aside: [], numeral_px: 0 };
let look = null;
let display = { ok: false, say: "" };
let flashOn = true;
let due = false;

function path(points) {
  const made = new Path2D();
  made.moveTo(points[0], points[1]);
  for (let i = 2; i < points.length; i += 2) made.lineTo(points[i], points[i + 1]);
  return made;
}

function prepared(geometry) {
  for (const line of [...geometry.lines, ...geometry.aside]) line.path = path(line.points);
  return geometry;
}

function redraw() {
  if (due) return;
  due = true;
  requestAnimationFrame(draw);
}

function draw() {
  due = false;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.globalAlpha = 1;
  pen.fillStyle = "#000";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  if (!look || look.blank || !display.ok) return;
  pen.lineJoin = "round";
  if (look.targets.length) return drawTargets();
  if (!look.lit) return drawFrame();
  if (look.section !== scene.section) return;
  pen.setTransform(1, 0, 0, 1, look.shift[0], look.shift[1]);
  const [traced, now] = [new Set(look.traced), new Set(look.now)];
  const groups = { traced: [], open: [], now: [] };
  for (const line of scene.lines) {
    if (look.kind !== "all" && line.layer !== look.kind) continue;
    const group = now.has(line.id) ? "now" : traced.has(line.id) ? "traced" : "open";
    groups[group].push(line);
  }
  if (look.traced_look !== "hide") {
    drawLines(groups.traced, look.traced_look === "dim" ? TRACED_LIGHT : OPEN_LIGHT, look.width_px);
  }
  drawLines(groups.open, OPEN_LIGHT, look.width_px);
  drawLines(groups.now, 1, look.width_px + 1);
  drawAside();
}

function drawLines(lines, light, width) {
  pen.globalAlpha = light;
  const outlined = lines.filter((line) => look.outlines && line.layer === "numeral");
  strokeAll(lines.filter((line) => !outlined.includes(line)), look.colour, width);
  strokeAll(outlined, look.colour, scene.numeral_px + width);
  pen.globalAlpha = 1;
  if (scene.numeral_px > width) strokeAll(outlined, "#000", scene.numeral_px - width);
}

function strokeAll(lines, colour, width) {
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  for (const line of lines) pen.stroke(line.path);
}

function drawAside() {
  pen.globalAlpha = 1;
  for (const line of scene.aside) {
    if (line.kind === "witness" && look.check && !flashOn) continue;
    pen.strokeStyle = ASIDE[line.kind];
    pen.lineWidth = line.kind === "witness" && look.check ? look.width_px + 3 : look.width_px;
    pen.stroke(line.path);
  }
}

// The picture's edge and middle, to hang the projector by while there is no line to light.
function drawFrame() {
  const [width, height] = [canvas.width, canvas.height];
  pen.strokeStyle = ASIDE.name;
  pen.lineWidth = 2;
  pen.beginPath();
  pen.rect(1, 1, width - 2, height - 2);
  pen.moveTo(width / 2 - 40, height / 2);
  pen.lineTo(width / 2 + 40, height / 2);
  pen.moveTo(width / 2, height / 2 - 40);
  pen.lineTo(width / 2, height / 2 + 40);
  pen.stroke();
}

function drawTargets() {
  const size = Math.max(14, canvas.width / 80);
  for (const target of look.targets) {
    const [x, y] = target.at;
    pen.globalAlpha = target.now ? 1 : 0.35;
    pen.strokeStyle = target.landed ? "#7dff9b" : target.now ? "#ffffff" : "#ffb030";
    pen.lineWidth = 2;
    pen.beginPath();
    // The arms leave the middle open, so that the mark under it can be seen.
    for (const [a, b] of [[1, 0], [0, 1], [-1, 0], [0, -1]]) {
      pen.moveTo(x + a * size * 0.15, y + b * size * 0.15);
      pen.lineTo(x + a * size, y + b * size);
    }
    pen.moveTo(x + size * 0.6, y);
    pen.arc(x, y, size * 0.6, 0, 2 * Math.PI);
    pen.stroke();
    pen.fillStyle = pen.strokeStyle;
    pen.font = `${Math.round(size * 0.9)}px system-ui, sans-serif`;
    const left = x + size * 2.4 > canvas.width;
    pen.textAlign = left ? "right" : "left";
    pen.fillText(target.name, x + (left ? -1 : 1) * size * 0.8, y - size * 0.7);
  }
}

function told(message) {
  if (message.type === "geometry") scene = prepared(message);
  else if (message.type === "look") look = message;
  else if (message.type === "display") {
    display = message;
    say(message.ok ? "" : message.say);
  } else if (message.type === "pairing") showPairing(message);
  else if (message.type === "refused") { adrift(message.say); setTimeout(() => adrift(""), 4000); }
  redraw();
}

function showPairing(message) {
  pairing.hidden = !message.open;
  const picture = document.getElementById("picture");
  picture.hidden = !message.picture;
  if (message.picture) picture.src = message.picture;
  document.getElementById("lan").hidden = message.lan;
  document.getElementById("address").textContent = message.address;
  document.getElementById("code").textContent = message.code;
}

function say(text, offer = false) {
  notice.hidden = !text;
  take.hidden = !offer;
  document.getElementById("say").textContent = text;
}

function report() {
  const ratio = window.devicePixelRatio;
  const size = [Math.round(innerWidth * ratio), Math.round(innerHeight * ratio)];
  canvas.width = innerWidth;
  canvas.height = innerHeight;
  redraw();
  const scale = window.visualViewport ? window.visualViewport.scale : 1;
  if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ size, ratio, scale }));
}

function send(command) {
  tap(command, "what was pressed");
}

const ENDED = "This stage belongs to a run of canvasrule beam that has ended. Nothing is lost: what was trued up and traced is kept. Start canvasrule beam again if it does not run, then close this window and open the stage at the new address that it prints.";

function adrift(text) {
  document.getElementById("adrift").hidden = !text;
  document.getElementById("adrift").textContent = text;
}

// What is lit stays true while the connection is away, so it stays lit.
function showLive(live, heardAt) {
  adrift(live || !heardAt ? "" : `No answer since ${clock(heardAt)}: nothing is marked. If canvasrule beam has ended, start it again and open the stage at the address that it prints; nothing is lost.`);
}

function ended(code) {
  if (code !== 4409 && code !== 4401) return false;
  display = { ok: false };
  redraw();
  adrift("");
  if (code === 4401) say(ENDED);
  else say("Another window is the stage now. Two would light lines twice.", true);
  return true;
}

take.addEventListener("click", () => { say(""); connect("&take=1"); });
addEventListener("resize", report);
if (window.visualViewport) window.visualViewport.addEventListener("resize", report);

const KEYS = {
  b: () => send({ do: "blank", on: !(look && look.blank) }),
  c: () => send({ do: "check", on: !(look && look.check) }),
  n: () => send({ do: "next-line" }),
  p: () => send({ do: "previous-line" }),
  " ": () => send({ do: "done", line: look && look.line }),
  PageDown: () => send({ do: "next-section" }),
  PageUp: () => send({ do: "previous-section" }),
  f: () => document.documentElement.requestFullscreen(),
  ArrowLeft: (far) => send({ do: "nudge", across: -far, down: 0 }),
  ArrowRight: (far) => send({ do: "nudge", across: far, down: 0 }),
  ArrowUp: (far) => send({ do: "nudge", across: 0, down: -far }),
  ArrowDown: (far) => send({ do: "nudge", across: 0, down: far }),
  Enter: () => look && look.targets.length && send({ do: "landed" }),
};
addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target === take) return;
  const act = KEYS[event.key];
  if (!act) return;
  event.preventDefault();
  act(event.shiftKey ? 10 : 1);
});

setInterval(() => {
  flashOn = !flashOn || !(look && look.check);
  if (look && look.check) redraw();
}, FLASH_MS);
if (navigator.wakeLock) {
  const hold = () => navigator.wakeLock.request("screen").catch(() => {});
  hold();
  document.addEventListener("visibilitychange", () => document.hidden || hold());
}
join({
  path: "/light",
  told,
  live: showLive,
  undone: (words) => adrift(`Not done, for want of a connection: ${words.join("; ")}.`),
  waiting: () => {},
  opened: report,
  ended,
});
