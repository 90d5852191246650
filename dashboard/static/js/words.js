// Every sentence of the page comes from one table (strings/en.json), embedded in the document.
import { said } from "./units.js";

const words = JSON.parse(document.getElementById("words").textContent);

/** The text at a path like ["alarm", "kind", "no data"], or null. */
export function find(...path) {
  let found = words;
  for (const step of path) found = found?.[step];
  return typeof found === "string" ? found : null;
}

/** The text under a dotted key, with {names} filled in. An unknown key is a bug and says so. */
export function t(key, values = {}) {
  return fill(find(...key.split(".")), key, values);
}

/** Like t, for a name out of data: t2("phase", "slow cool"). Falls back to the name itself. */
export function t2(group, name, values = {}) {
  const text = find(...group.split("."), name);
  return text === null ? String(name) : fill(text, name, values);
}

/** "passes" with 0, 1 or n. */
export function count(key, n) {
  return t(`${key}_${n === 0 || n === 1 ? n : "n"}`, { n });
}

/** With a capital letter. */
export const sentence = (text) => text.slice(0, 1).toLocaleUpperCase() + text.slice(1);

function fill(text, key, values) {
  if (text === null) throw new Error(`no text for ${key}`);
  return said(text).replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));
}
