// What a verb prints for a terminal, as a page shows it: lines as paragraphs, columns as tables,
// each in the person's language.
import { element } from "./results/elements.js";
import { told } from "./words.js";

const COLUMNS = /\s{2,}/;

export function printed(words, label) {
  const shown = element("div", { class: "printed", tabindex: "0", role: "region", "aria-label": label });
  let table = null;
  for (const line of words.split("\n")) {
    const cells = told(line.trim()).split(COLUMNS);
    if (cells.length > 1) {
      if (!table) shown.append(table = element("table", {}));
      table.append(element("tr", {}, ...cells.map((cell) => element("td", {}, cell))));
      continue;
    }
    table = null;
    if (line.trim()) shown.append(element("p", /^\s/.test(line) ? { class: "in" } : {}, cells[0]));
  }
  return shown;
}
