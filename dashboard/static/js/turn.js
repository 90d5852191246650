// Whose turn it is among several castings: one sentence above the panels, and a word when it changes.
import { h, setAttribute, setText, show } from "./dom.js";
import { spoken } from "./format.js";
import { said } from "./units.js";
import { t } from "./words.js";

export class Turns {
  #told = null;

  constructor(place) {
    this.place = place;
    this.words = h("p", { class: "turn-words" });
    place.replaceChildren(h("h2", {}, t("turn.title")), this.words, h("p", { class: "note" }, t("turn.note")));
  }

  /** Show it; what should be said aloud because it has changed, or null. */
  show({ turn, parts }) {
    show(this.place, Boolean(turn));
    setAttribute(this.place, "data-stale", null);
    const first = turn?.order.find((each) => each.heat_id === turn.heat_id) ?? null;
    const weld = first?.what === "weld" ? first.heat_id : null;
    const out = turn && turn.take_out !== null && turn.take_out_in_s?.p95 === 0 ? turn.take_out : null;
    if (turn) setText(this.words, said(turn.text));
    const known = this.#told !== null;
    const lines = [];
    const part = (id) => parts.find((each) => each.heat_id === id);
    if (known && weld !== null && weld !== this.#told.weld) lines.push(firstWords(part(weld)));
    if (known && out !== null && out !== this.#told.out) lines.push(t("turn.out", { part: part(out).name }));
    // What was last somebody's turn stays known while it is nobody's: the same again is no news.
    this.#told = turn ? { weld: weld ?? this.#told?.weld ?? null, out } : null;
    return lines.length ? lines.join(" ") : null;
  }

  /** The service is not heard: this may not hold any more. */
  lose() {
    setAttribute(this.place, "data-stale", "true");
    setText(this.words, t("turn.lost"));
  }
}

function firstWords({ name, heat }) {
  const closes = heat.window.closes_in_s;
  return t("turn.first", { part: name, what: closes ? t("speech.ready_for", { time: spoken(closes.p05) }) : t("speech.ready") });
}
