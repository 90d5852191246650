// Short notes at the foot of the page, some with a few seconds to take a step back.
import { h, setText } from "./dom.js";
import { t } from "./words.js";

const SHOWN_MS = 4000;
const AT_MOST = 3;

/** Tell something; `bad` stays until tapped away. */
export function toast(text, { bad = false, button = null, ms = SHOWN_MS } = {}) {
  const place = document.getElementById("toasts");
  const note = h("div", { class: bad ? "toast bad" : "toast", "data-toast": bad ? "bad" : "good" }, h("span", {}, text));
  let timer = null;
  const close = () => {
    clearTimeout(timer);
    note.remove();
  };
  if (button) {
    note.append(h("button", { type: "button", class: "button", "data-action": button.action, onclick: () => { close(); button.run(); } }, button.text));
  } else {
    note.append(h("button", { type: "button", class: "button quiet", "data-action": "close", onclick: close }, t("done.close")));
  }
  if (!bad) timer = setTimeout(close, ms);
  place.append(note);
  while (place.children.length > AT_MOST) place.firstElementChild.remove();
  return { close, say: (words) => setText(note.firstElementChild, words) };
}

/** Do something in a few seconds unless it is undone; at once when the page is left. */
export function soon(text, run, ms = 5000) {
  let open = true;
  const finish = (really) => {
    if (!open) return;
    open = false;
    clearTimeout(timer);
    removeEventListener("pagehide", leave);
    note.close();
    if (really) run();
  };
  const leave = () => finish(true);
  const note = toast(text, { ms: ms + 1000, button: { action: "undo", text: t("done.undo"), run: () => finish(false) } });
  const timer = setTimeout(() => finish(true), ms);
  addEventListener("pagehide", leave);
}
