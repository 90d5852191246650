// The one sheet that slides over the page: a title, what is in it, and a way out.
import { h } from "./dom.js";
import { t } from "./words.js";

/** Open the sheet; what was open before is gone. */
export function openSheet(title, name, ...children) {
  const sheet = document.getElementById("sheet");
  const heading = h("h2", { id: "sheet-title" }, title);
  const close = h("button", { type: "button", class: "button", "data-action": "close sheet", onclick: closeSheet }, t("done.close"));
  sheet.replaceChildren(h("header", { class: "sheet-head" }, heading, close), h("div", { class: "sheet-body" }, ...children));
  sheet.setAttribute("aria-labelledby", "sheet-title");
  sheet.dataset.sheet = name;
  if (!sheet.open) sheet.showModal();
  sheet.scrollTop = 0;
  heading.tabIndex = -1;
  heading.focus();
}

/** Whether this sheet is the one that is open. */
export function sheetIs(name) {
  const sheet = document.getElementById("sheet");
  return sheet.open && sheet.dataset.sheet === name;
}

export function closeSheet() {
  document.getElementById("sheet").close();
}

/** Large tiles to choose one of: options are {value, text, more, chosen, hint}. */
export function tiles(name, options, choose) {
  return h("div", { class: "tiles", role: "group" }, ...options.map((option) =>
    h("button", { type: "button", class: "tile", "data-action": name, "data-value": String(option.value), "aria-pressed": String(Boolean(option.chosen)), onclick: (event) => choose(option.value, event.currentTarget) },
      h("strong", {}, option.text), option.more ? h("span", {}, option.more) : null, option.hint ? h("em", {}, option.hint) : null)));
}
