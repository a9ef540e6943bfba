// Jobs: those that lie in the folder, opened, made, copied and renamed.
import { filled, texts } from "./texts.js";
import { named, told } from "./words.js";

const at = (id) => document.getElementById(id);
const OWN = "own";
// Undefined until it is told that a job is open, or that none is.
let opened;

function options(select, pairs) {
  const wanted = JSON.stringify(pairs);
  if (select.dataset.shown === wanted) return;
  select.replaceChildren(...pairs.map(([value, text]) => new Option(text, value)));
  select.dataset.shown = wanted;
}

// Stock profiles by what people know them as, with their own names.
const stock = (all) => Object.entries(all).map(([name, known]) => [name, filled(texts.stock, { known: told(known), name })]);

// A job whose title cannot be read is called by its name, and why.
const unread = (one) => one.title.startsWith(`${one.name} (`);

export function show(message) {
  at("root").textContent = message.root;
  named(message.root, ...Object.keys({ ...message.tables, ...message.plotters }), ...message.jobs.map((one) => one.name));
  at("job-list").replaceChildren(...message.jobs.map((one) => {
    const row = document.createElement("li");
    const here = one.name === message.open;
    const open = document.createElement(here ? "strong" : "button");
    open.textContent = here ? texts.shownNow : texts.open;
    if (!here) open.onclick = () => tap({ do: "job", act: "open", name: one.name }, filled(texts.openJob, { job: one.name }));
    row.append(open, " ", one.title === one.name ? one.name : filled(texts.jobNamed, { name: one.name, title: unread(one) ? told(one.title) : one.title }));
    return row;
  }));
  options(at("new-table"), [...stock(message.tables), [OWN, texts.anotherSize]]);
  const first = at("new-plotter").dataset.shown === undefined;
  options(at("new-plotter"), stock(message.plotters));
  if (first) at("new-plotter").value = message.usual;
  sizes();
  at("this-job").hidden = at("lies").hidden = !message.open;
  document.body.classList.toggle("no-job", !message.open);
  // Once it is made, there is nothing left to fill in for it.
  if (message.open !== opened) at("new-job").open = at("this-job").open = !message.open;
  opened = message.open;
}

function sizes() {
  const own = at("new-table").value === OWN;
  for (const field of document.querySelectorAll("[data-own]")) field.hidden = !own;
  const units = at("new-units").value;
  at("new-length").placeholder = { in: texts.longIn, mm: texts.longMm }[units] ?? texts.longEither;
  at("new-width").placeholder = { in: texts.wideIn, mm: texts.wideMm }[units] ?? texts.wideEither;
}

at("new-table").onchange = at("new-units").onchange = sizes;
at("make-new").onclick = () => {
  const own = at("new-table").value === OWN;
  tap({
    do: "job", act: "new", name: at("new-name").value, plotter: at("new-plotter").value, units: at("new-units").value,
    ...(own ? { length: at("new-length").value, width: at("new-width").value } : { table: at("new-table").value }),
  }, texts.makeJob);
};
at("copy").onclick = () => tap({ do: "job", act: "copy", name: at("other-name").value }, texts.copyJob);
at("make-next").onclick = () => tap({ do: "job", act: "copy", name: at("next-name").value }, texts.copyJob);
at("rename").onclick = () => tap({ do: "job", act: "rename", name: at("other-name").value }, texts.renameJob);
