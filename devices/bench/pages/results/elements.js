// What a page is made with: elements, tables and drawings. It knows nothing of what they show.
export function element(tag, attributes = {}, ...children) {
  const one = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined) one.setAttribute(name, value);
  }
  one.append(...children);
  return one;
}

const SVG = "http://www.w3.org/2000/svg";
export function svg(tag, attributes, text) {
  const one = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) one.setAttribute(name, value);
  if (text !== undefined) one.textContent = text;
  return one;
}

// A table with a heading for each column; the first cell of each row is its heading.
export function table(caption, columns, rows) {
  const head = element("tr", {}, ...columns.map((text) => element("th", { scope: "col" }, text)));
  const body = rows.map(([first, ...cells]) => element("tr", {},
    element("th", { scope: "row" }, first), ...cells.map((text) => element("td", {}, text))));
  return element("div", { class: "wide", tabindex: "0", role: "region", "aria-label": caption },
    element("table", {}, element("caption", {}, caption), element("thead", {}, head), element("tbody", {}, ...body)));
}
