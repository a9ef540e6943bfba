// A page's connection: numbers its taps, asks all the time whether it is heard, and knows for each
// tap whether it was done. The page says what to do with what comes: told, live, undone, ended.
"use strict";

const BEAT_MS = 200;
const SILENT_MS = 700;
const GIVEN_UP_MS = 3000;
// A tap older than this is told as not done, and not done late behind a person's back.
const FRESH_MS = 5000;
const LONGEST_WAIT_MS = 3000;
const KEPT = "canvasrule-taps";

let socket = null;
const link = {
  page: Array.from(crypto.getRandomValues(new Uint32Array(4)), (n) => n.toString(36)).join("-"),
  number: 0,
  waiting: [],
  greeted: false,
  live: false,
  heardAt: null,
  silentFrom: 0,
  waited: 0,
  began: 0,
};

// Only taps that wait for an answer are kept over a reload: two windows must not share a name.
function keepTaps() {
  if (!link.waiting.length) { sessionStorage.removeItem(KEPT); return; }
  const { page, number, waiting } = link;
  sessionStorage.setItem(KEPT, JSON.stringify({ page, number, waiting }));
}

function takeTaps() {
  try { Object.assign(link, JSON.parse(sessionStorage.getItem(KEPT)) || {}); } catch { /* none */ }
  sessionStorage.removeItem(KEPT);
}

// Sends one tap. words name it for a person: "Nudge", "Traced: cross line 12".
function tap(command, words) {
  if (!link.live) { on.undone([words]); return false; }
  link.number += 1;
  const sent = { command: { ...command, tap: link.number }, words, at: Date.now() };
  link.waiting.push(sent);
  keepTaps();
  socket.send(JSON.stringify(sent.command));
  on.waiting();
  return true;
}

// Every tap up to this number has been answered.
function answered(number) {
  link.waiting = link.waiting.filter((one) => one.command.tap > number);
  keepTaps();
  on.waiting();
}

function greeted(message) {
  const unheard = link.waiting.some((one) => one.command.tap === message.tap);
  answered(message.tap);
  link.number = Math.max(link.number, message.tap);
  if (unheard && message.say) on.told({ type: "refused", say: message.say });
  const old = link.waiting.filter((one) => Date.now() - one.at > FRESH_MS);
  link.waiting = link.waiting.filter((one) => !old.includes(one));
  keepTaps();
  link.greeted = true;
  for (const one of link.waiting) socket.send(JSON.stringify(one.command));
  if (old.length) on.undone(old.map((one) => one.words));
  judge();
}

function heard(message) {
  link.heardAt = Date.now();
  link.silentFrom = performance.now();
  if (message.type === "greeted") greeted(message);
  else if (message.type === "done") answered(message.tap);
  else if (message.type === "refused") {
    if (message.tap) answered(message.tap);
    on.told(message);
  } else if (message.type !== "beat") on.told(message);
  judge();
}

// In step only while answers come.
function judge() {
  const quiet = performance.now() - link.silentFrom;
  const live = link.greeted && quiet < SILENT_MS;
  if (live === link.live) return;
  link.live = live;
  on.live(live, link.heardAt);
}

function beat() {
  judge();
  const open = socket && socket.readyState === WebSocket.OPEN;
  if (open) socket.send('{"beat":1}');
  const from = open && link.greeted ? link.silentFrom : link.began;
  if (socket && performance.now() - from > GIVEN_UP_MS) lost();
}

// The connection is given up, whatever it still has to say, and made anew a little later.
function lost() {
  if (!socket) return;
  const dead = socket;
  socket = null;
  dead.onopen = dead.onmessage = dead.onclose = null;
  dead.close();
  link.greeted = false;
  judge();
  link.waited = Math.min(link.waited * 2 + 250, LONGEST_WAIT_MS);
  setTimeout(connect, link.waited * (0.75 + Math.random() / 2));
}

function connect(asked = "") {
  if (socket) return;
  link.began = performance.now();
  const mine = new WebSocket(`ws://${location.host}${on.path}?page=${link.page}${asked}`);
  socket = mine;
  mine.onopen = () => {
    link.waited = 0;
    mine.send(JSON.stringify({ hello: link.page }));
    on.opened();
  };
  mine.onmessage = (event) => heard(JSON.parse(event.data));
  mine.onclose = (event) => {
    if (on.ended(event.code)) {
      socket = null;
      link.greeted = false;
      judge();
      return;
    }
    lost();
  };
}

function clock(at) {
  return at ? new Date(at).toTimeString().slice(0, 8) : null;
}

// on: { path, beats, told, live, undone, waiting, opened, ended }
let on = null;
function join(what) {
  on = what;
  takeTaps();
  connect();
  if (on.beats) new Worker(on.beats).onmessage = beat;
  else setInterval(beat, BEAT_MS);
}

// A phone that wakes may hold a connection that is dead without knowing it.
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) beat();
});
