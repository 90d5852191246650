// What the heats of a part taught: each figure with its uncertainty, where it was seen, and a way to set it aside.
import { act, pressed } from "./deeds.js";
import { h, show } from "./dom.js";
import { degrees, flow, significant, timeOfDay } from "./format.js";
import { scale } from "./units.js";
import { count, t, t2 } from "./words.js";

const TIMEOUT_MS = 60_000;
const AGAIN_MS = 3000;
/** The newest heats offered to be repeated. */
const REPEATED = 3;

export class Taught {
  #part = null;
  #due = null;

  /** repeat(heatId): what a press on "Repeat heat" does. */
  constructor(repeat) {
    this.repeat = repeat;
    this.element = h("section", { class: "taught", hidden: true });
  }

  /** Ask for a part's lessons; null: no part is planned. */
  async show(part) {
    clearTimeout(this.#due);
    this.#part = part;
    show(this.element, part !== null);
    if (part === null) return;
    const told = await this.#ask(part.id);
    if (this.#part?.id !== part.id) return;
    this.element.replaceChildren(h("h2", {}, t("taught.title")), ...(told === null ? [h("p", { class: "fault", role: "alert" }, t("done.failed"))] : this.#whole(told)));
    if (told !== null && told.forecasts.done < 1) this.#due = setTimeout(() => this.element.isConnected && !this.element.closest("[hidden]") && this.show(this.#part), AGAIN_MS);
  }

  async #ask(id) {
    try {
      const answer = await fetch(`/api/v1/parts/${id}/learnt`, { signal: AbortSignal.timeout(TIMEOUT_MS) });
      return answer.ok ? await answer.json() : null;
    } catch {
      return null;
    }
  }

  #whole(told) {
    const none = told.learnt.length === 0 ? [h("p", { class: "note" }, t(told.heat_ids.length ? "taught.nothing" : "taught.no_heat"))] : [];
    const again = told.heat_ids.slice(-REPEATED).reverse().map((id) => h("button", { type: "button", class: "button", "data-action": "repeat heat", "data-value": String(id), onclick: () => this.repeat(id) }, t("taught.repeat", { n: id })));
    return [
      ...none,
      ...told.learnt.map((each) => this.#row(each)),
      ...told.forgotten.map((each) => this.#away(each)),
      ...forecasts(told.forecasts),
      again.length ? h("div", { class: "taught-again" }, ...again) : null,
    ].filter(Boolean);
  }

  #row(each) {
    const name = t2("taught.quantity", each.quantity);
    return this.#line(name, value(each), seen(each), h("button", { type: "button", class: "button", "data-action": "forget learnt", "data-value": each.quantity, "aria-label": t("taught.forget_that", { what: name }) }, t("taught.forget")), { quantity: each.quantity }, t("taught.forgotten", { what: name }));
  }

  #away(each) {
    const name = t2("taught.quantity", each.quantity);
    const when = t("taught.away", { at: `${new Date(each.at).toLocaleDateString()} ${timeOfDay(Date.parse(each.at))}`, by: each.by ?? t("taught.somebody") });
    return this.#line(name, "", when, h("button", { type: "button", class: "button", "data-action": "take back", "data-value": each.quantity, "aria-label": t("taught.back_that", { what: name }) }, t("taught.back")), { quantity: each.quantity, take_back: true }, t("taught.is_back", { what: name }));
  }

  #line(name, figure, about, button, deed, done) {
    button.addEventListener("click", () => pressed(button, async () => {
      await act({ kind: "forget learnt", part_id: this.#part.id, ...deed }, done);
      await this.show(this.#part);
    }));
    return h("article", { class: "row", "data-quantity": deed.quantity }, h("div", { class: "row-words" }, h("strong", {}, figure ? `${name}: ${figure}` : name), h("span", {}, about)), button);
  }
}

const KELVIN = /^K(?=$|\/)/;

/** "17 K/min (16 to 19) at 292 °C". */
function value({ value: { p05, p50, p95 }, unit, at_c: at }) {
  const { unit: shown, to } = KELVIN.test(unit) ? scale("K") : { unit, to: (x) => x };
  const named = KELVIN.test(unit) ? unit.replace(KELVIN, shown) : t2("taught.unit", unit);
  const text = t("taught.value", { p50: significant(to(p50)), p05: significant(to(p05)), p95: significant(to(p95)), unit: named });
  return at === null ? text : t("taught.at", { value: text, c: degrees(at) });
}

/** Where it was seen, and in how many heats. */
function seen({ seen: { low, high, unit }, heat_ids: ids }) {
  const form = unit === "l/min" ? flow : degrees;
  const heats = count("taught.heats", ids.length);
  return low === high ? t("taught.seen_at", { a: form(low), heats }) : t("taught.seen", { a: form(low), b: form(high), heats });
}

/** "Half way the last 3 heats' windows were off by 3 %". */
function forecasts({ done, sums }) {
  const lines = sums.map((each) => t(each.event_between ? "taught.off_event" : "taught.off", {
    subject: t2("taught.subject", each.subject), share: t2("taught.share", String(each.share)), heats: count("taught.heats", each.heats),
    percent: significant(100 * each.off_by), held: each.held, n: each.forecasts }));
  const waiting = done < 1 ? [h("p", { class: "note" }, t("taught.working", { percent: Math.floor(100 * done) }))] : [];
  if (lines.length === 0) return waiting;
  return [h("h3", {}, t("taught.forecasts")), h("ul", { class: "record-lines" }, ...lines.map((line) => h("li", {}, line))), ...waiting];
}
