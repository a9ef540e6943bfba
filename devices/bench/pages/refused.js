// What was typed and refused, by job: it outlives the page in this tab's own storage, and is written
// nowhere else.

const key = (folder) => `canvasrule refused ${folder}`;

export function refused(folder) {
  try { return JSON.parse(sessionStorage.getItem(key(folder))) ?? {}; } catch { return {}; }
}

// Notes a value, or with undefined that nothing is refused there any more.
export function note(folder, name, value) {
  const all = refused(folder);
  if (value === undefined && !(name in all)) return;
  if (value === undefined) delete all[name]; else all[name] = value;
  // A browser that keeps nothing loses it on a reload, as before.
  try { sessionStorage.setItem(key(folder), JSON.stringify(all)); } catch { /* full, or forbidden */ }
}
