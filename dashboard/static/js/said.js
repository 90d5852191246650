// What the tool said at any moment of a heat, and what came of it.
import { h, setAttribute, setText, show } from "./dom.js";
import { degrees, duration, integer, perHour, range, significant } from "./format.js";
import { said as worded } from "./units.js";
import { t, t2 } from "./words.js";

const AGAIN_MS = 1000;

export class SaidThen {
  #moments = [];
  #asking = false;

  /** ``ask`` fetches JSON and says what went wrong; ``at`` words a moment; ``mark`` shows one [ms] in the chart. */
  constructor(record, ask, at, mark) {
    this.record = record;
    this.ask = ask;
    this.at = at;
    this.mark = mark;
    this.button = h("button", { type: "button", class: "button", "data-action": "what was said", onclick: () => this.#fetch() }, t("said.show"));
    this.progress = h("p", { class: "note", role: "status", hidden: true });
    this.slider = h("input", { type: "range", min: "0", max: "0", step: "1", value: "0", class: "said-slider", "aria-label": t("said.moment"), oninput: () => this.#tell() });
    const step = (by, name) => h("button", { type: "button", class: "step-by", "data-action": name, "aria-label": t(`said.${name}`), onclick: () => this.#move(by) }, by < 0 ? "−" : "+");
    this.moment = h("p", { class: "lead said-moment" });
    this.next = h("p", { class: "said-next" });
    this.lines = h("ul", { class: "record-lines" });
    this.sheet = h("div", { class: "said", hidden: true }, h("div", { class: "said-choose" }, step(-1, "earlier"), this.slider, step(1, "later")), h("div", { "aria-live": "polite" }, this.moment, this.next, this.lines));
    this.parts = [h("h3", {}, t("said.title")), this.button, this.progress, this.sheet, h("p", { class: "note" }, t("said.note"))];
  }

  async #fetch() {
    if (this.#asking) return;
    this.#asking = true;
    setAttribute(this.button, "aria-busy", "true");
    show(this.progress, true);
    setText(this.progress, t("said.working", { n: 0 }));
    let answer = await this.ask(`/api/v1/heats/${this.record.heat_id}/said`);
    while (answer && !answer.said && this.button.isConnected) {
      setText(this.progress, t("said.working", { n: integer(answer.done * 100) }));
      await new Promise((go) => setTimeout(go, AGAIN_MS));
      answer = await this.ask(`/api/v1/heats/${this.record.heat_id}/said`);
    }
    this.#asking = false;
    setAttribute(this.button, "aria-busy", null);
    show(this.progress, false);
    if (!answer?.said) return;
    if (answer.said.length === 0) {
      setText(this.progress, t("said.nothing"));
      show(this.progress, true);
      return;
    }
    this.#moments = answer.said;
    show(this.button, false);
    show(this.sheet, true);
    this.slider.max = String(answer.said.length - 1);
    const first = answer.said.findIndex((each) => each.closes_in_s !== null);
    this.slider.value = String(Math.max(first, 0));
    this.#tell();
  }

  #move(by) {
    this.slider.value = String(Number(this.slider.value) + by);
    this.#tell();
  }

  #tell() {
    const moment = this.#moments[Number(this.slider.value)];
    setAttribute(this.slider, "aria-valuetext", this.at(moment.at));
    setText(this.moment, t("said.at", { time: this.at(moment.at), phase: t2("phase", moment.phase), verdict: t2("verdict", moment.verdict) }));
    setText(this.next, worded(moment.next));
    this.lines.replaceChildren(...lines(moment).map((line) => h("li", {}, line)));
    this.mark(Date.parse(moment.at));
  }
}

function lines(moment) {
  const told = [];
  if (moment.temperature_c !== null) told.push(moment.rate_c_per_h === null ? degrees(moment.temperature_c) : `${degrees(moment.temperature_c)}, ${perHour(moment.rate_c_per_h)}`);
  if (moment.closes_in_s !== null) told.push(t("said.closes", { range: range(moment.closes_in_s) }));
  else if (moment.opens_in_s !== null) told.push(t("said.opens", { range: range(moment.opens_in_s) }));
  else if (moment.reason !== null) told.push(t("said.no_time", { reason: worded(moment.reason) }));
  if (moment.came !== null) told.push(`${t(`said.came.${moment.came.what}`, { time: duration(moment.came.in_s) })}${moment.came.held === null ? "" : ` ${t(moment.came.held ? "said.held" : "said.not_held")}`}`);
  if (moment.clear) told.push(t("said.clear"));
  else if (moment.clear_in_s !== null) told.push(t("said.clear_in", { range: range(moment.clear_in_s) }));
  if (moment.oxygen_ppm !== null) told.push(t("said.oxygen", { low: significant(moment.oxygen_ppm.p05), high: moment.oxygen_ppm.p95 === null ? "…" : significant(moment.oxygen_ppm.p95) }));
  return told;
}
