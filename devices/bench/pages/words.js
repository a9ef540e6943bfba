// What the page says, in the person's language. The server speaks English; its texts are looked up
// in a gettext catalogue, whole, or as one of its templates with the parts put in, each part said
// in the same way. What is not found stays English, all of it, and is noted.

const PLACE = /\{(\w+)\}/;
const LETTER = /\p{L}/gu;
const KEY = /^[a-z\d_.{}]*[._{}][a-z\d_.{}]*(?: = |: )(?=\S)/;
const WORDS = /\p{L}+/gu;
const UNITS = new Set("in ft mm cm m km yd h min s kg g px lx C mm/s cm/s in/s".split(" "));
const CODES = new Set("HP-GL G-code SVG PDF PNG JSON TOML USB ISO canvasrule Millrace hpgl gcode xonxoff rtscts dtrdsr auto single double".split(" "));
const QUOTED = /"[^"]*"|`[^`]*`|\[[^\]]*\]|(?<=^|[\s(=])'[^']*'(?=$|[\s),.;:\]])/g;
const COMMAND = /^canvasrule [a-z]+( (job|hand|full|tiles|keep))?( (--?[\w-]+|"[^"]*"|\S*[^a-z\s]\S*))*$/;
// Two spaces part the columns of a table.
const JOINT = /(?<=[.!?…]) |[;:,] /g;
const INNER = /^[\p{L}\d]{2}$/u;
const COLUMNS = /(\s{2,})/;
const PATH = /^(\/|~|[A-Z]:[\\/]|\w+:\/\/)/;
// Steps that one text may take to be said: none that is made of our templates comes near.
const MOST_STEPS = 3_000;

const FIRST_SIGN = 0xe000;

export const missed = new Set();
const theirs = new Set();
const said = new Map();
const labels = [];
const templates = { byWord: new Map(), loose: [] };
const catalogue = await read();
let steps = 0;

async function read() {
  let words;
  try { words = await globalThis.words; } catch { document.documentElement.lang = "en"; }
  if (!words) return null;
  const every = Object.entries(words).flatMap(withoutKeys);
  sort(every.filter(([msgid]) => isTemplate(msgid)));
  return new Map(every.map(([msgid, msgstr]) => (
    isTemplate(msgid) ? [msgid, msgstr] : [plain(msgid), plain(msgstr)]
  )));
}

// Labels of fields and buttons within a text: each a sign of its own, which stays what it is.
function signed(text) {
  return text.replace(/“([^”{}]+)”/g, (_, label) => {
    if (!labels.includes(label)) labels.push(label);
    return String.fromCodePoint(FIRST_SIGN + labels.indexOf(label));
  });
}

function unsigned(text) {
  return text.replace(/[\uE000-\uF8FF]/g, (sign) => {
    const label = labels[sign.codePointAt(0) - FIRST_SIGN];
    return (catalogue.get("“{label}”") ?? "“{label}”").replace("{label}", () => whole(label) ?? label);
  });
}

// Beside its field a fault is said without the file, the key and the value that it begins with.
function withoutKeys([msgid, msgstr]) {
  msgid = signed(msgid);
  const found = [[msgid, msgstr]];
  for (let at = 0, begin; (begin = msgid.slice(at).match(KEY)) && msgstr.startsWith(msgid.slice(0, at + begin[0].length));) {
    at += begin[0].length;
    found.push([msgid.slice(at), msgstr.slice(at)]);
  }
  return found;
}

function isTemplate(text) { return PLACE.test(text.replaceAll("{{", "").replaceAll("}}", "")); }

function plain(text) { return text.replaceAll("{{", "{").replaceAll("}}", "}"); }

function template(text) {
  const pieces = text.replaceAll("{{", "\u0001").replaceAll("}}", "\u0002").split(PLACE);
  const clean = (piece) => piece.replaceAll("\u0001", "{").replaceAll("\u0002", "}");
  return {
    literals: pieces.filter((_, at) => at % 2 === 0).map(clean),
    places: pieces.filter((_, at) => at % 2 === 1),
  };
}

// Templates by their rarest word, so that a text is held against a few of them only.
function sort(texts) {
  const all = [];
  const often = new Map();
  for (const [msgid, msgstr] of texts) {
    const one = { ...template(msgid), says: template(msgstr), weight: 0, words: [] };
    const last = one.literals.length - 1;
    one.literals.forEach((literal, at) => {
      one.weight += literal.match(LETTER)?.length ?? 0;
      for (const found of literal.matchAll(WORDS)) {
        const end = found.index + found[0].length;
        // A word that a place touches may go on in it.
        if ((found.index || !at) && (end < literal.length || at === last)) one.words.push(found[0]);
      }
    });
    for (const word of new Set(one.words)) often.set(word, (often.get(word) ?? 0) + 1);
    all.push(one);
  }
  for (const one of all) {
    const rarest = one.words.sort((a, b) => often.get(a) - often.get(b))[0];
    if (rarest === undefined) templates.loose.push(one);
    else if (templates.byWord.has(rarest)) templates.byWord.get(rarest).push(one);
    else templates.byWord.set(rarest, [one]);
  }
}

function candidates(text) {
  const found = [...templates.loose];
  for (const word of new Set(text.match(WORDS))) found.push(...templates.byWord.get(word) ?? []);
  return found.filter((one) => text.startsWith(one.literals[0]) && text.endsWith(one.literals.at(-1)))
    .sort((a, b) => b.weight - a.weight);
}

function filledIn(one, parts) {
  const by = new Map(one.places.map((name, at) => [name, parts[at]]));
  return one.says.literals.reduce((text, literal, at) => text + by.get(one.says.places[at - 1]) + literal);
}

// A text by one template, where each of its parts can be said; else null.
function fitted(one, text) {
  const parts = [];
  let reached = 0;
  for (const literal of one.literals) {
    reached = text.indexOf(literal, reached) + literal.length;
    if (reached < literal.length) return null;
  }
  const end = text.length - one.literals.at(-1).length;
  function from(at, place) {
    if (at > end) return false;
    const next = one.literals[place + 1];
    const isLast = place === one.places.length - 1;
    let to = isLast ? end : text.indexOf(next, at);
    while (to !== -1 && to <= end) {
      // Two places that touch part where a word ends.
      const may = to - at < text.length && (isLast || next || !INNER.test(text.slice(to - 1, to + 1)));
      const part = may ? inPlace(one, place, text.slice(at, to)) : null;
      if (part !== null) {
        parts[place] = part;
        if (isLast || from(to + next.length, place + 1)) return true;
      }
      to = to < end ? text.indexOf(next, to + 1) : -1;
    }
    return false;
  }
  return from(one.literals[0].length, 0) ? filledIn(one, parts) : null;
}

// What is in quotes or brackets, here or there, was typed by a person or is to be typed so.
function inPlace(one, place, part) {
  const there = one.says.places.indexOf(one.places[place]);
  return isQuoted(one.literals, place) || isQuoted(one.says.literals, there) ? part : whole(part);
}

function isQuoted(literals, place) {
  return /["'\[]$/.test(literals[place]) && /^["'\]]/.test(literals[place + 1]);
}

// Names, paths, figures, lengths, keys, commands: the same in every language.
function isData(text) {
  if (theirs.has(text) || text === "in" || text === "mm" || COMMAND.test(text)) return true;
  if (/^[\w.-]+ = [^:;]+$/.test(text)) return true;
  let figure = false;
  let option = false;
  return text.replace(QUOTED, " 0 ").split(/[\s,;()|+]+/).every((token) => {
    const is = !/\p{L}{2}/u.test(token) || /[\d_/\\=]|[\w)][.:][\w(]|^--|^\.\w|^j[a-z]$|^[A-Z]{2}$|^III$/.test(token) && !/^\p{L}+\/\p{L}+$/u.test(token)
      || option || figure && UNITS.has(token.replace(/[.:]$/, "")) || CODES.has(token) || theirs.has(token);
    figure = /\d/.test(token) || token === "/";
    option = token.startsWith("--");
    return is;
  });
}

const upper = (text) => text.charAt(0).toUpperCase() + text.slice(1);
const lower = (text) => text.charAt(0).toLowerCase() + text.slice(1);

// A text of which every part can be said; null where there is a part that cannot.
function whole(text) {
  if (said.has(text)) return said.get(text);
  steps += 1;
  if (steps > MOST_STEPS) return null;
  const found = sought(text);
  if (found !== null || steps <= MOST_STEPS) said.set(text, found);
  return found;
}

function sought(text) {
  if (catalogue.has(text)) return catalogue.get(text);
  if (isData(text)) return text;
  const [, before, core, after] = text.match(/^([\s,;:]*|\. )([^]*?)([\s,;:]*)$/);
  if (core !== text) return core && around(before, whole(core), after);
  const [, number, point] = text.match(/^((?:\d+\.|-) )(\S[^]*)$/) ?? [];
  if (point && catalogue.has(point)) return number + catalogue.get(point);
  for (const one of candidates(text)) {
    const found = fitted(one, text);
    if (found !== null) return found;
  }
  if (point) return around(number, whole(point), "");
  // A path may hold spaces.
  if (PATH.test(text) && !/[:;,] /.test(text)) return text;
  if (/^\p{Lu}\p{Ll}/u.test(text)) {
    const found = whole(lower(text));
    if (found !== null) return upper(found);
  }
  if (text.endsWith(".")) {
    const found = whole(text.slice(0, -1));
    if (found !== null) return `${found}.`;
  }
  const note = text.match(/^([^]+?)( ?)\(([^()]+)\)$/);
  if (note) {
    const [main, beside] = [whole(note[1]), whole(note[3])];
    if (main !== null && beside !== null) return `${main}${note[2]}(${beside})`;
  }
  // Of a list of names that nobody translates all are names.
  return afterData(text) ?? beforeData(text) ?? parted(text) ?? (/^[\w-]+(, [\w-]+){2,}$/.test(text) ? text : null);
}

// A figure or a name, and what is said of it.
function afterData(text) {
  let end = 0;
  for (let next = text.indexOf(" "); next !== -1 && next - end < 20; next = text.indexOf(" ", next + 1)) {
    if (isData(text.slice(0, next))) end = next;
  }
  return end ? around(text.slice(0, end + 1), whole(text.slice(end + 1)), "") : null;
}

const around = (before, text, after) => (text === null ? null : before + text + after);

function beforeData(text) {
  for (let at = text.lastIndexOf(" "); at > 0 && isData(text.slice(at + 1)); at = text.lastIndexOf(" ", at - 1)) {
    const found = whole(text.slice(0, at));
    if (found !== null) return found + text.slice(at);
  }
  return null;
}

// Two texts, one after the other, the first as long as may be.
function parted(text) {
  for (const joint of [...text.matchAll(JOINT)].reverse()) {
    const cut = joint.index + joint[0].length;
    const second = whole(text.slice(cut));
    const first = second === null ? null : whole(text.slice(0, joint.index));
    if (first !== null) return first + joint[0] + second;
  }
  return null;
}

// As much of a text as can be said: what begins or ends it, or a template with a part that cannot.
function partly(text) {
  const done = whole(text);
  if (done !== null) return done;
  const joints = [...text.matchAll(JOINT)];
  for (const joint of joints) {
    const end = whole(text.slice(joint.index + joint[0].length));
    if (end !== null) return partly(text.slice(0, joint.index)) + joint[0] + end;
  }
  for (const joint of joints.reverse()) {
    const begin = whole(text.slice(0, joint.index));
    if (begin !== null) return begin + joint[0] + partly(text.slice(joint.index + joint[0].length));
  }
  const letters = text.match(LETTER).length;
  for (const one of candidates(text)) {
    if (one.weight < Math.max(8, letters / 4)) break;
    const parts = text.match(new RegExp(`^${one.literals.map(escaped).join("([^]*?)")}$`));
    if (parts) return filledIn(one, parts.slice(1).map((part) => (part ? partly(part) : part)));
  }
  missed.add(text);
  return text;
}

const escaped = (text) => text.replace(/[\\^$.*+?()[\]{}|/]/g, "\\$&");

function line(text) {
  steps = 0;
  if (catalogue.has(text)) return catalogue.get(text);
  if (!COLUMNS.test(text)) return partly(text);
  for (const one of candidates(text)) {
    const found = one.literals.some((literal) => COLUMNS.test(literal)) ? fitted(one, text) : null;
    if (found !== null) return found;
  }
  return text.split(COLUMNS).map((one, at) => (at % 2 || !one ? one : partly(one))).join("");
}

// What the server says, or a verb or a machine that it passes on.
export function told(words) {
  if (!catalogue || !words) return words;
  return words.split("\n").map((one) => (one.trim() ? unsigned(line(signed(one))) : one)).join("\n");
}

// Names that a person gave: they are no words to translate.
export function named(...names) {
  for (const name of names) {
    if (!name || theirs.has(name)) continue;
    theirs.add(name);
    said.clear();
  }
}

// A text of the page's own.
export function gettext(text) {
  if (!catalogue) return text;
  if (!catalogue.has(text)) missed.add(text);
  return catalogue.get(text) ?? text;
}

function page() {
  const own = (words) => {
    const text = words.trim().replace(/\s+/g, " ");
    return catalogue.has(text) || (/\p{L}{2}/u.test(text) && !isData(text)) ? words.replace(words.trim(), () => gettext(text)) : words;
  };
  const silent = "script, style, noscript, :not(html)[lang]";
  const nodes = document.createTreeWalker(document.documentElement, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT);
  while (nodes.nextNode()) {
    const node = nodes.currentNode;
    if (node instanceof Text) {
      if (node.parentElement.closest(silent)) continue;
      node.data = own(node.data);
    } else {
      for (const name of ["aria-label", "placeholder", "title"]) {
        if (node.hasAttribute(name)) node.setAttribute(name, own(node.getAttribute(name)));
      }
    }
  }
}

const choice = document.getElementById("language");
for (const one of document.documentElement.dataset.languages.split(" ")) {
  const option = new Option(upper(new Intl.DisplayNames([one], { type: "language" }).of(one)), one);
  option.lang = one;
  choice.append(option);
}
choice.value = document.documentElement.lang;
choice.onchange = () => speak(choice.value);
if (catalogue) page();
document.documentElement.classList.remove("wordless");
