// Lengths in the job's own unit: what a tape shows, and the errors and nudges that none does.

let units = "in";

export function showIn(unit) { units = unit; }

export const inInches = () => units !== "mm";
export const unit = () => (inInches() ? "in" : "mm");

// As a tape shows it: to 1/32 in, or a tenth of a millimetre.
export function length(mm) {
  if (!inInches()) return `${mm.toFixed(1).replace(/\.0$/, "").replace(/^-0$/, "0")} mm`;
  return `${fraction(Math.round((mm / 25.4) * 32), 32)} in`;
}

function fraction(parts, over) {
  const whole = Math.floor(Math.abs(parts) / over);
  let up = Math.abs(parts) % over;
  const sign = parts < 0 ? "-" : "";
  if (!up) return `${sign}${whole}`;
  while (up % 2 === 0) { up /= 2; over /= 2; }
  return `${sign}${whole ? `${whole} ` : ""}${up}/${over}`;
}

// The bare figure of what no tape shows.
export function figure(mm) { return inInches() ? (mm / 25.4).toFixed(3) : mm.toFixed(1); }

// What no tape shows: thousandths of an inch, or hundredths of a millimetre; what is a tape's
// fraction to a hair, as most limits are, as that.
export function fine(mm) {
  if (!inInches()) return `${mm.toFixed(2)} mm`;
  const parts = (mm / 25.4) * 64;
  if (Math.round(parts) && Math.abs(parts - Math.round(parts)) < 0.01) return `${fraction(Math.round(parts), 64)} in`;
  return `${(mm / 25.4).toFixed(3)} in`;
}

// The same with its sign, for what goes one way or the other.
export function signed(mm) { return `${mm < 0 ? "−" : "+"}${fine(Math.abs(mm))}`; }

// A machine's nudge, whose own count is in millimetres.
export function nudge(mm) { return inInches() ? `${fine(mm)} (${mm} mm)` : `${mm} mm`; }

// Words of a verb, which count errors in millimetres, in the job's unit: each figure of a list.
export function inItsUnit(words) {
  if (!inInches()) return words;
  return words.replace(/-?\d+(?:\.\d+)?(?:(?:, | by )-?\d+(?:\.\d+)?)* mm\b/g, (found) => (
    found.replace(/ mm$/, "").replace(/-?\d+(?:\.\d+)?/g, (one) => (Math.abs(one) < 25.4 ? fine : length)(Number(one)))
  ));
}
