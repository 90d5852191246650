// Heats side by side: chosen in the list, laid on one zero, their figures in a row each.
import { h, setAttribute, setText, show } from "./dom.js";
import { degrees, duration, integer, NONE, oneDecimal, perHour, significant } from "./format.js";
import { scale } from "./units.js";
import { count, t } from "./words.js";

/** More lines than that are not told apart in one chart. */
export const MOST = 6;
const ALIGNMENTS = ["oven exit", "first pass", "clock"];
const day = new Intl.DateTimeFormat(undefined, { year: "numeric", month: "short", day: "numeric", hour: "2-digit", minute: "2-digit", hour12: false });

const known = (form) => (value) => (value === null ? NONE : form(value));
const FORMS = {
  oven_s: duration, exit_to_first_pass_s: duration, first_pass_coldest_c: degrees, interpass_hottest_c: degrees,
  first_pass_oxygen_ppm: (ppm) => `${significant(ppm)} ppm`, oxygen_high_ppm: (ppm) => `${significant(ppm)} ppm`,
  passes: integer, arc_s: duration, argon_l: (l) => `${oneDecimal(l)} L`, below_preheat_s: duration, last_arc_to_cover_s: duration,
  bare_c_per_h: perHour, covered_c_per_h: perHour, difference_k: (k) => `${integer(scale("K").to(k))} ${scale("K").unit}`, deviations: integer,
};

/** Which heats are chosen in the list, and the way to the chart of them. */
export class Choice {
  #chosen = [];

  constructor() {
    this.go = h("a", { class: "button primary", "data-action": "compare" });
    this.none = h("button", { type: "button", class: "button", "data-action": "compare none", onclick: () => this.#set([]) }, t("compare.none"));
    this.bar = h("div", { class: "compare-bar", role: "group", "aria-label": t("compare.title"), hidden: true }, this.go, this.none);
    this.buttons = new Map();
  }

  /** The button of a heat's row. */
  button(id) {
    const made = h("button", { type: "button", class: "button", "data-action": "choose", "data-value": String(id), onclick: () => this.#turn(id) }, t("compare.choose"));
    this.buttons.set(id, made);
    setAttribute(made, "aria-pressed", this.#chosen.includes(id));
    return made;
  }

  #turn(id) {
    const without = this.#chosen.filter((each) => each !== id);
    this.#set(without.length < this.#chosen.length ? without : [...this.#chosen, id].slice(-MOST));
  }

  #set(chosen) {
    this.#chosen = chosen;
    for (const [id, button] of this.buttons) setAttribute(button, "aria-pressed", chosen.includes(id));
    show(this.bar, chosen.length > 0);
    setAttribute(this.go, "href", chosen.length > 1 ? `#records/compare/${chosen.join(",")}` : null);
    setAttribute(this.go, "aria-disabled", chosen.length > 1 ? null : "true");
    setText(this.go, chosen.length > 1 ? count("compare.go", chosen.length) : t("compare.one_more"));
  }
}

/** The heats of these numbers on a sheet; ``ask`` fetches JSON and says what went wrong. */
export class Comparison {
  #align = ALIGNMENTS[0];

  constructor(ids, ask) {
    this.ids = ids;
    this.ask = ask;
    this.tiles = ALIGNMENTS.map((align) => h("button", { type: "button", class: "tile", "data-action": "align", "data-value": align, onclick: () => this.#lay(align) }, h("strong", {}, t(`compare.align.${align}`)), h("span", {}, t(`compare.align_more.${align}`))));
    this.chart = h("img", { class: "record-chart", alt: "" });
    this.left_out = h("ul", { class: "record-lines", hidden: true });
    this.table = h("div", { class: "record-table", tabindex: "0", role: "group", "aria-label": t("compare.figures") });
    this.parts = [
      h("h2", {}, t("compare.title")),
      h("div", { class: "tiles", role: "group", "aria-label": t("compare.zero") }, ...this.tiles),
      h("div", { class: "record-table", tabindex: "0", role: "group", "aria-label": t("compare.chart") }, this.chart),
      this.left_out, h("h3", {}, t("compare.figures")), this.table,
      h("p", { class: "note" }, t("compare.note")),
    ];
    this.#lay(this.#align);
  }

  async #lay(align) {
    this.#align = align;
    for (const tile of this.tiles) setAttribute(tile, "aria-pressed", tile.dataset.value === align);
    const asked = `heats=${this.ids.join(",")}&align=${encodeURIComponent(align)}`;
    const answer = await this.ask(`/api/v1/compare?${asked}`);
    if (!answer || this.#align !== align) return;
    const drawn = answer.heats.filter((heat) => heat.zero_at !== null);
    show(this.chart, drawn.length > 0);
    if (drawn.length > 0) setAttribute(this.chart, "src", `/api/v1/compare.svg?${asked}`);
    setAttribute(this.chart, "alt", t("compare.drawn", { heats: drawn.map((heat) => heat.heat_id).join(", ") }));
    const missing = answer.heats.filter((heat) => heat.zero_at === null);
    this.left_out.replaceChildren(...missing.map((heat) => h("li", {}, t("compare.left_out", { n: heat.heat_id, why: heat.why }))));
    show(this.left_out, missing.length > 0);
    this.table.replaceChildren(figures(answer.heats));
  }
}

function figures(heats) {
  const head = heats.map((heat) => h("th", { scope: "col" }, h("a", { href: `#records/${heat.heat_id}` }, t("records.heat", { n: heat.heat_id, part: heat.part })), h("small", {}, day.format(Date.parse(heat.began_at)))));
  const rows = Object.entries(FORMS).map(([name, form]) => h("tr", {}, h("th", { scope: "row" }, t(`compare.figure.${name}`)), ...heats.map((heat) => h("td", {}, known(form)(heat.figures[name])))));
  return h("table", { class: "compare-table" }, h("thead", {}, h("tr", {}, h("td", {}), ...head)), h("tbody", {}, ...rows));
}
