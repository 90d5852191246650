// The chart of a heat on its record: looked at closer and closer, read at any moment, and as a table.
import { bokeh } from "./bokeh.js";
import { h, setAttribute, setText, show } from "./dom.js";
import { degrees, duration, flow, NONE, significant } from "./format.js";
import { plot } from "./heat_plot.js";
import { scale } from "./units.js";
import { t, t2 } from "./words.js";

const STEPS = 1000;
const SETTLED_MS = 250;
const CLOSER = 0.5;
const ASIDE = 0.4;
const TABLE_ROWS = 25;
const SLIDER_STEPS = 1000;
/** A line without a value this near says nothing, at least [s], or this many of its own steps. */
const NEAR_S = 15;
const NEAR_STEPS = 2;
/** Events are told with a moment when they are this near, as a share of what is shown. */
const BESIDE = 0.01;
const INKS = ["ink", "soft", "rule", "paper", "raised", "arc", "flow", "limit", "line", "duty"];

const FORMS = { temperature: degrees, oxygen: (ppm) => `${significant(ppm)} ppm`, flow };
/** Into the unit that this device shows, and its name. */
const UNITS = { temperature: () => scale("°C"), oxygen: () => ({ unit: "O₂ ppm", to: (ppm) => ppm }), flow: () => scale("L/min") };

export class HeatChart {
  #plot = null;
  #lines = [];
  #shown = null;
  #due = null;
  #asked = 0;
  #at = null;
  /** Called with every moment that is read [ms]. */
  onmoment = () => {};
  #heat = null;
  #limits = [];
  #ahead = 0;
  #start = 0;
  #step = 0;

  /** ``ask`` fetches JSON and says what went wrong; ``at`` words a moment; ``plain`` is the address of the drawn chart. */
  constructor(record, ask, at, plain) {
    Object.assign(this, { record, ask, at, plain });
    const title = t("records.chart", { n: record.heat_id });
    this.place = h("div", { class: "heat-plot", role: "group", "aria-label": title });
    this.hint = h("p", { class: "note", role: "status" }, t("lines.drawing"));
    const key = (name, how, sign) => h("button", { type: "button", class: "step-by", "data-action": name, "aria-label": t(`lines.${name}`), title: t(`lines.${name}`), onclick: how }, sign);
    this.whole = h("button", { type: "button", class: "button", "data-action": "whole", onclick: () => this.#plot.look(...this.#span) }, t("lines.whole"));
    this.keys = h("div", { class: "heat-keys", role: "group", "aria-label": t("lines.keys") }, key("closer", () => this.#zoom(CLOSER), "+"), key("wider", () => this.#zoom(1 / CLOSER), "−"), key("back", () => this.#aside(-ASIDE), "◀"), key("ahead", () => this.#aside(ASIDE), "▶"), this.whole);
    this.slider = h("input", { type: "range", min: "0", max: String(SLIDER_STEPS), step: "1", value: "0", class: "said-slider", "aria-label": t("lines.moment"), oninput: () => this.#slid() });
    this.reading = h("ul", { class: "heat-reading" });
    this.reads = h("div", { class: "heat-reads" }, h("label", { class: "said-choose" }, h("span", {}, t("lines.moment")), this.slider), this.reading);
    this.table = h("div", { class: "record-table", tabindex: "0", role: "group", "aria-label": t("lines.table") });
    this.values = h("details", { class: "heat-table", ontoggle: () => this.#tabulate() }, h("summary", {}, t("lines.table")), this.table);
    this.element = h("div", { class: "heat-chart" }, this.place, this.hint, this.keys, this.reads, this.values);
    this.#usable(false);
    this.#begin();
  }

  /** The moment that is read [ms]; null: none yet. */
  get moment() {
    return this.#at;
  }

  /** Show a moment [ms], within what is drawn. */
  mark(ms) {
    if (this.#plot === null) return;
    const [from, to] = this.#shown;
    if (ms < from || ms > to) {
      const half = (to - from) / 2;
      this.#plot.look(this.#axis(ms - half), this.#axis(ms + half));
    }
    this.#read(ms);
  }

  async #begin() {
    const [library, answer] = await Promise.all([bokeh().catch(() => null), this.#fetch(null)]);
    if (!answer) return show(this.hint, false);
    const [from, to] = [Date.parse(answer.start), Date.parse(answer.end)];
    this.#heat = { from, to };
    // The axis shows times of day by the offset from UTC at the heat's begin, throughout.
    this.#ahead = -new Date(from).getTimezoneOffset() * 60_000;
    this.#lines = answer.lines;
    this.#limits = answer.limits;
    this.#start = from;
    this.#step = answer.step_s;
    this.#shown = [from, to];
    if (library === null || !this.element.isConnected) return this.#fallBack();
    setText(this.hint, t(matchMedia("(pointer: coarse)").matches ? "lines.fingers" : "lines.mouse"));
    await this.#draw(library);
    this.#usable(true);
    this.#read(from);
    this.#followTheme(() => this.#draw(library));
  }

  #followTheme(draw) {
    const dark = matchMedia("(prefers-color-scheme: dark)");
    const again = () => {
      if (this.element.isConnected) return draw();
      theme.disconnect();
      dark.removeEventListener("change", again);
      return null;
    };
    const theme = new MutationObserver(again);
    theme.observe(document.documentElement, { attributeFilter: ["data-theme"] });
    dark.addEventListener("change", again);
  }

  get #span() {
    return [this.#axis(this.#heat.from), this.#axis(this.#heat.to)];
  }

  #axis(ms) {
    return ms + this.#ahead;
  }

  #fetch(within) {
    const asked = new URLSearchParams({ points: STEPS });
    if (within) {
      asked.set("start", new Date(within[0]).toISOString());
      asked.set("end", new Date(within[1]).toISOString());
    }
    return this.ask(`/api/v1/heats/${this.record.heat_id}/lines?${asked}`);
  }

  /** Without the library: the chart as it is printed. */
  #fallBack() {
    setText(this.hint, t("lines.plain"));
    this.place.replaceChildren(h("img", { class: "record-chart", src: this.plain, alt: t("records.chart", { n: this.record.heat_id }) }));
    show(this.reads, true);
    show(this.values, true);
    this.#read(this.#heat.from);
  }

  #usable(yes) {
    for (const part of [this.keys, this.reads, this.values]) show(part, yes);
  }

  async #draw(library) {
    const style = getComputedStyle(document.documentElement);
    const inks = Object.fromEntries(INKS.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
    inks.font = getComputedStyle(document.body).fontFamily;
    const [from, to] = this.#shown;
    this.#plot?.remove();
    this.place.replaceChildren();
    this.#plot = await plot(library, this.place, this.#told(), inks, { range: (a, b) => this.#ranged(a, b), moment: (ms) => this.#read(ms - this.#ahead) });
    this.#fill();
    if (from !== this.#heat.from || to !== this.#heat.to) this.#plot.look(this.#axis(from), this.#axis(to));
    this.#plot.mark(this.#at === null ? null : this.#axis(this.#at));
  }

  /** What does not change while one looks closer, on the axis. */
  #told() {
    const { record } = this;
    const { from, to } = this.#heat;
    const on = (text) => this.#axis(text ? Date.parse(text) : to);
    const shown = (value) => (value === null ? null : UNITS.temperature().to(value));
    const panels = Object.keys(UNITS).filter((name) => name === "temperature" || this.#lines.some((line) => line.panel === name));
    const offset = new Intl.DateTimeFormat(undefined, { timeZoneName: "shortOffset" }).formatToParts(from).find((part) => part.type === "timeZoneName").value;
    const turns = new Date(from).getTimezoneOffset() !== new Date(to).getTimezoneOffset();
    return {
      from: this.#axis(from),
      to: this.#axis(to),
      axis: turns ? t("lines.clock_of", { offset }) : t("lines.clock"),
      panels: Object.fromEntries(panels.map((name) => [name, UNITS[name]().unit])),
      lines: this.#lines.map(({ panel, letter }) => ({ panel, letter })),
      limits: this.#limits.map((each) => ({ from: on(each.from), to: on(each.to), low: shown(each.preheat_min_c), high: shown(each.upper_c), ppm: each.oxygen_max_ppm })),
      phases: record.phases.map((each) => ({ from: on(each.from), to: on(each.to), text: t2("phase", each.phase) })),
      passes: record.passes.map((each) => ({ from: on(each.began_at), to: on(each.ended_at), text: String(each.number) })),
      alarms: record.alarms.map((each) => on(each.at)),
      notes: record.notes.map((each) => Math.min(on(each.at), this.#axis(to))),
      words: { preheat: t("lines.preheat"), interpass: t("lines.interpass"), oxygen: t("lines.oxygen") },
    };
  }

  #fill() {
    this.#plot?.fill(this.#lines.map((line) => ({
      x: line.at_s.map((s) => (s === null ? NaN : this.#axis(this.#start + s * 1000))),
      y: line.values.map((value) => (value === null ? NaN : UNITS[line.panel]().to(value))),
    })));
  }

  #zoom(by) {
    const [from, to] = this.#shown.map((ms) => this.#axis(ms));
    const middle = this.#at !== null && this.#axis(this.#at) >= from && this.#axis(this.#at) <= to ? this.#axis(this.#at) : (from + to) / 2;
    this.#plot.look(middle - (middle - from) * by, middle + (to - middle) * by);
  }

  #aside(by) {
    const [from, to] = this.#shown.map((ms) => this.#axis(ms));
    this.#plot.look(from + (to - from) * by, to + (to - from) * by);
  }

  #ranged(from, to) {
    this.#shown = [from - this.#ahead, to - this.#ahead];
    clearTimeout(this.#due);
    this.#due = setTimeout(() => this.#finer(), SETTLED_MS);
  }

  /** Ask for what is shown in finer steps, with a little on both sides. */
  async #finer() {
    const [from, to] = this.#shown;
    const aside = (to - from) * ASIDE;
    const within = [Math.max(this.#heat.from, from - aside), Math.min(this.#heat.to, to + aside)];
    const nth = (this.#asked += 1);
    const answer = await this.#fetch(within);
    if (!answer || nth !== this.#asked || !this.element.isConnected) return;
    this.#lines = answer.lines;
    this.#start = Date.parse(answer.start);
    this.#step = answer.step_s;
    this.#fill();
    this.#read(this.#at ?? from);
    this.#tabulate();
  }

  #slid() {
    const [from, to] = this.#shown;
    this.#read(from + (Number(this.slider.value) / SLIDER_STEPS) * (to - from));
  }

  /** Say what every line read at a moment [ms]. */
  #read(ms) {
    const [from, to] = this.#shown;
    const moment = Math.min(Math.max(ms, this.#heat.from), this.#heat.to);
    this.#at = moment;
    this.#plot?.mark(this.#axis(moment));
    this.slider.value = String(Math.round(((moment - from) / Math.max(to - from, 1)) * SLIDER_STEPS));
    const when = this.at(new Date(moment).toISOString());
    const values = this.#lines.map((line) => `${line.letter} ${line.channel}: ${this.#word(line, moment)}`);
    setAttribute(this.slider, "aria-valuetext", [when, ...values].join("; "));
    const phase = this.record.phases.findLast((each) => Date.parse(each.from) <= moment);
    const first = t("lines.at", { time: when, run: duration((moment - this.#heat.from) / 1000), phase: phase ? t2("phase", phase.phase) : NONE });
    const lines = [h("li", { class: "heat-when" }, first), ...values.map((text) => h("li", {}, text)), ...this.#beside(moment, (to - from) * BESIDE).map((text) => h("li", { class: "heat-event" }, text))];
    this.reading.replaceChildren(...lines);
    this.onmoment(moment);
  }

  #beside(moment, near) {
    const { passes, alarms, notes } = this.record;
    const by = (text) => Math.abs(Date.parse(text) - moment) <= near;
    const during = (each) => Date.parse(each.began_at) <= moment && (each.ended_at === null || moment <= Date.parse(each.ended_at));
    return [
      ...passes.filter(during).map((each) => t("lines.pass", { n: each.number })),
      ...alarms.filter((each) => by(each.at)).map((each) => t("lines.alarm", { text: each.text })),
      ...notes.filter((each) => by(each.at)).map((each) => t("lines.note", { text: each.text })),
    ];
  }

  /** What a line read nearest to a moment; a step whose lowest and highest differ says both. */
  #word(line, moment) {
    const want = (moment - this.#start) / 1000;
    const near = Math.max(NEAR_S, NEAR_STEPS * this.#step);
    let best = null;
    line.at_s.forEach((s, i) => {
      if (s !== null && Math.abs(s - want) <= near && (best === null || Math.abs(s - want) < Math.abs(line.at_s[best] - want))) best = i;
    });
    if (best === null) return NONE;
    const form = FORMS[line.panel];
    const [low, other] = [line.values[best], line.at_s[best + 1] === line.at_s[best] ? line.values[best + 1] : line.values[best]];
    return form(low) === form(other) ? form(low) : t("lines.from_to", { low: form(low), high: form(other) });
  }

  #tabulate() {
    if (!this.values.open) return;
    const [from, to] = this.#shown;
    const moments = Array.from({ length: TABLE_ROWS }, (_, i) => from + ((to - from) * i) / (TABLE_ROWS - 1));
    const head = [t("records.column.at"), ...this.#lines.map((line) => `${line.letter} ${line.channel}`)].map((text) => h("th", { scope: "col" }, text));
    const rows = moments.map((ms) => h("tr", {}, h("th", { scope: "row" }, this.at(new Date(ms).toISOString())), ...this.#lines.map((line) => h("td", {}, this.#word(line, ms)))));
    this.table.replaceChildren(h("table", {}, h("thead", {}, h("tr", {}, ...head)), h("tbody", {}, ...rows)));
  }
}
