// What heats took, to quote from: a row for each part with the sum of all under them.
import { h } from "./dom.js";
import { duration, integer, NONE, oneDecimal } from "./format.js";
import { t } from "./words.js";

const COLUMNS = ["part", "heats", "hours", "oven", "arc", "purge", "torch"];
const litres = (value) => (value === null ? NONE : `${integer(value)} L`);
/** Below an hour and a half a tenth of an hour says too little. */
const hours = (s) => (s < 5400 ? duration(s) : `${oneDecimal(s / 3600)} h`);

/** What one heat took, as rows of its figures. */
export function workRows(work) {
  if (!work) return [];
  const by = (name) => (work[name] ? ` (${t(`work.by.${work[name]}`)})` : "");
  return [["hours", hours(work.total_s)], ["oven", duration(work.oven_s)], ["arc", `${duration(work.arc_s)}${by("arc_by")}`], ["purge", work.purge_l === null ? t("work.not_metered") : litres(work.purge_l)], ["torch", work.torch_l === null ? t("work.not_known") : `${litres(work.torch_l)}${by("torch_by")}`]];
}

/** A fold in the records that asks for the sums only when it is opened. */
export class WorkTable {
  constructor(ask) {
    this.ask = ask;
    this.place = h("div", {});
    this.element = h("details", { class: "heat-table work-fold", ontoggle: () => this.element.open && this.#fetch() }, h("summary", {}, t("work.title")), this.place);
  }

  async #fetch() {
    this.place.replaceChildren(h("p", { class: "note" }, t("work.asking")));
    const answer = await this.ask("/api/v1/work");
    if (!answer) {
      this.place.replaceChildren();
      return;
    }
    if (answer.parts.length === 0) {
      this.place.replaceChildren(h("p", {}, t("work.none")));
      return;
    }
    const row = (name, count, work, tag) => h("tr", {}, h(tag, { scope: "row" }, name), ...[integer(count), hours(work.total_s), hours(work.oven_s), duration(work.arc_s), litres(work.purge_l), litres(work.torch_l)].map((cell) => h("td", {}, cell)));
    const head = h("tr", {}, ...COLUMNS.map((name) => h("th", { scope: "col" }, t(`work.column.${name}`))));
    const body = answer.parts.map((each) => row(each.part, each.heats, each.work, "th"));
    const foot = row(t("work.all"), answer.heats.length, sum(answer.parts.map((each) => each.work)), "th");
    const table = h("table", {}, h("thead", {}, head), h("tbody", {}, ...body), h("tfoot", {}, foot));
    const link = (by) => h("a", { class: "button", href: `/api/v1/work.csv?by=${by}`, download: "", "data-action": "work table", "data-value": by }, t(`work.csv_${by}`));
    this.place.replaceChildren(h("div", { class: "record-table", tabindex: "0", role: "group", "aria-label": t("work.title") }, table), h("p", { class: "note" }, t("work.note")), h("div", { class: "row-deeds" }, link("part"), link("heat")));
  }
}

/** All parts together; argon only where it is known of each. */
function sum(works) {
  const all = (name) => works.reduce((before, work) => (before === null || work[name] === null ? null : before + work[name]), 0);
  return Object.fromEntries(["total_s", "oven_s", "arc_s", "purge_l", "torch_l"].map((name) => [name, all(name)]));
}
