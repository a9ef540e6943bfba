// A length typed without its unit is refused, and not guessed at: what it may mean is offered at the
// field, a button each, the job's own unit first.
import { unit } from "./lengths.js";
import { element } from "./results/elements.js";
import { texts } from "./texts.js";

const UNITS = {
  length: { in: ["in", "mm"], mm: ["mm", "cm", "in"] },
  run: { in: ["ft", "m"], mm: ["m", "ft"] },
  fine: { in: ["mm", "in"], mm: ["mm"] },
  speed: { in: ["in/s", "mm/s"], mm: ["mm/s", "in/s"] },
};
// A figure of a tape or a rule. A comma before three digits may part thousands: that is not offered.
const BARE = /^(?:\d+(?:\.\d*|,(?!\d{3}$)\d+)?|[.,]\d+|(?:\d+(?:\s+|\s*-\s*))?\d+\/\d+|\d*\s*[½¼¾⅛⅜⅝⅞])$/;
const PAUSE_MS = 700;

// A vernier is read one way or the other.
const isBare = (text, kind) => BARE.test(kind === "fine" ? text.replace(/^[-−]\s*/, "") : text);
const bareIn = (input) => lines(input).filter((text) => isBare(text, input.dataset.length));
const lines = (input) => input.value.split("\n").map((one) => one.trim());
const offered = new Map();
const left = [];
let pressed = false;
let timer = 0;

// Where a length is typed of which the job does not say the unit yet, the page does.
function units(input) {
  const by = input.dataset.unitsBy;
  const own = (by && document.getElementById(by)?.value) || unit();
  return UNITS[input.dataset.length][own];
}

function withdraw(input) {
  offered.get(input)?.remove();
  offered.delete(input);
}

function offer(input) {
  const bare = bareIn(input);
  if (!bare.length) { withdraw(input); return; }
  if (offered.get(input)?.dataset.of === input.value) return;
  withdraw(input);
  const choices = units(input).map((one) => {
    const meant = (text) => `${text.replace(",", ".")} ${one}`;
    const button = element("button", { type: "button" }, bare.map(meant).join(", "));
    button.onclick = () => {
      input.value = lines(input).map((text) => (bare.includes(text) ? meant(text) : text)).join("\n");
      input.focus();
      withdraw(input);
      for (const type of ["input", "change"]) input.dispatchEvent(new Event(type, { bubbles: true }));
    };
    return button;
  });
  const group = element("div", { class: "readings", role: "group", "aria-label": texts.whichUnit, "data-of": input.value }, ...choices);
  offered.set(input, group);
  (input.closest("label") ?? input).after(group);
}

// Of fields that were filled anew meanwhile.
export function settle() {
  for (const [input, group] of offered) if (group.dataset.of !== input.value || !input.isConnected) withdraw(input);
}

const asked = (event) => event.target.matches?.("[data-length]");
// Not at each key, as most figures are followed by their unit; but before Tab goes on to what is next.
document.addEventListener("input", (event) => {
  if (!asked(event)) return;
  clearTimeout(timer);
  if (!bareIn(event.target).length) withdraw(event.target);
  else timer = setTimeout(() => offer(event.target), PAUSE_MS);
});
document.addEventListener("change", (event) => {
  if (!asked(event)) return;
  if (pressed) left.push(event.target); else offer(event.target);
});
// What a field is left for by a press stays under the finger until it is let go of.
document.addEventListener("pointerdown", () => { pressed = true; }, true);
for (const over of ["pointerup", "pointercancel"]) {
  document.addEventListener(over, () => {
    pressed = false;
    setTimeout(() => { for (const input of left.splice(0)) offer(input); });
  }, true);
}
document.addEventListener("keydown", (event) => {
  if (asked(event) && event.key === "Tab" && !event.shiftKey) offer(event.target);
});
