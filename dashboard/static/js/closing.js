// The window is about to close: said once at each of a few marks, unless an alarm calls already.
import { spoken } from "./format.js";
import { t } from "./words.js";

/** Time that surely is left [s] at which it is said. */
const MARKS_S = [300, 120, 60];
/** A mark is said anew when the time left has grown well past it: another pass has put heat back. */
const ANEW = 1.5;

export class Closing {
  #said = new Map();

  /** What should be said of these parts now, as sentences. */
  due(parts) {
    const kept = new Map();
    const lines = [];
    for (const part of parts) {
      const left = part.phase === "bench" && part.verdict !== "unknown" ? part.heat.window.closes_in_s?.p05 ?? null : null;
      let said = this.#said.get(part.heat_id) ?? Infinity;
      if (left !== null) {
        if (left > said * ANEW) said = Infinity;
        const mark = MARKS_S.filter((at) => left <= at).at(-1);
        if (mark !== undefined && mark < said) {
          // Under the hood he needs the figure; a part seen for the first time is not news.
          if (this.#said.has(part.heat_id)) lines.push(words(part, left));
          said = mark;
        }
      }
      kept.set(part.heat_id, said);
    }
    this.#said = kept;
    return lines;
  }
}

function words({ name, purge, phase, pass_running: welding }, left) {
  const gas = phase === "bench" && !welding && purge.basis !== "not judged" && !purge.clear ? `, ${t("speech.purge_not_clear")}` : "";
  return t("speech.part", { part: name, what: t("speech.closing", { time: spoken(left) }) + gas });
}
