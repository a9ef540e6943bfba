// What a verb says of single fields of a form, said there: until that field is typed in again.
import { told } from "./words.js";

const OPTION = /^--([\w-]+)(?: [A-Z]+\d?)?(?: '[^']*'| "[^"]*")?: /;
const said = new Map();

// `words` at an input that has no place for them of its own; none takes them away.
export function say(input, words) {
  said.get(input)?.remove();
  said.delete(input);
  input.setAttribute("aria-invalid", String(Boolean(words)));
  input.closest(".field")?.classList.toggle("wrong", Boolean(words));
  input.dataset.described ??= input.getAttribute("aria-describedby") ?? "";
  if (!words) { input.setAttribute("aria-describedby", input.dataset.described); return; }
  const place = document.createElement("span");
  place.className = "fault";
  place.setAttribute("role", "alert");
  place.id = `${input.id}-fault`;
  place.textContent = words;
  input.setAttribute("aria-describedby", `${place.id} ${input.dataset.described}`.trim());
  input.addEventListener("input", () => say(input, ""), { once: true });
  (input.closest("label") ?? input).after(place);
  said.set(input, place);
}

// What a verb said of an option, less the option.
export const ofOption = (words) => told(words).replace(OPTION, "");

// Says at the fields of a form what is said of its options, line by line; returns all else.
export function sayOf(words, fieldOf) {
  return words.split("\n").filter((line) => {
    const input = fieldOf(line.match(OPTION)?.[1]);
    if (input?.checkVisibility()) say(input, ofOption(line));
    return !input?.checkVisibility();
  }).join("\n");
}
