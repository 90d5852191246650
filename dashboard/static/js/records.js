// Every heat on record: found by a few letters, read at a glance, drawn, handed over.
import { Choice, Comparison } from "./compare.js";
import { h, setText, show } from "./dom.js";
import { Find } from "./find.js";
import { degrees, duration, integer, NONE, perHour, significant } from "./format.js";
import { HeatChart } from "./heat_chart.js";
import { HeatDeeds } from "./heat_deeds.js";
import { listed, outcomeParts } from "./outcome.js";
import { photoParts } from "./photos.js";
import { SaidThen } from "./said.js";
import { scale, said } from "./units.js";
import { WorkTable, workRows } from "./work.js";
import { count, t, t2 } from "./words.js";

const EVERY_MS = 30_000;
const TIMEOUT_MS = 20_000;

const day = new Intl.DateTimeFormat(undefined, { year: "numeric", month: "short", day: "numeric", hour: "2-digit", minute: "2-digit", hour12: false });
// In the hour that the clock shows twice only the offset tells two moments apart.
const clock = new Intl.DateTimeFormat(undefined, { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false, timeZoneName: "shortOffset" });
const plainClock = new Intl.DateTimeFormat(undefined, { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false });
const offset = (ms) => clock.formatToParts(ms).find((part) => part.type === "timeZoneName").value;
const date = (ms) => new Date(ms).toDateString();

/** Times of day of one heat: with the offset where it changes meanwhile, with the day where that does. */
function times({ began_at: first, ended_at: last }) {
  const [from, to] = [Date.parse(first), last ? Date.parse(last) : Date.now()];
  const form = date(from) === date(to) ? (offset(from) === offset(to) ? plainClock : clock) : new Intl.DateTimeFormat(undefined, { ...clock.resolvedOptions(), month: "short", day: "numeric" });
  return (text) => (text ? form.format(Date.parse(text)) : NONE);
}
const address = (id, what = "") => `/api/v1/heats/${id}${what}`;

export class View {
  #due = 0;
  #open = null;

  constructor(place) {
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    this.choice = new Choice();
    this.find = new Find((where) => this.#ask(where), (heat) => row(heat, this.choice.button(heat.heat_id)));
    this.shelf = h("div", {}, ...this.find.head, this.choice.bar, ...this.find.foot, new WorkTable((where) => this.#ask(where)).element);
    this.sheet = h("div", { class: "record", hidden: true });
    place.replaceChildren(h("h1", {}, t("records.title")), this.fault, this.shelf, this.sheet);
  }

  /** Called with every answer of the bench; asks for the list now and then, for a heat when it is opened. */
  show() {
    const wanted = opened(location.hash);
    if (wanted !== this.#open) this.#turn(wanted);
    const now = performance.now();
    if (wanted !== null || now < this.#due) return;
    this.#due = now + EVERY_MS;
    this.find.refresh();
  }

  async #ask(where) {
    try {
      const answer = await fetch(where, { signal: AbortSignal.timeout(TIMEOUT_MS) });
      const body = await answer.json();
      show(this.fault, !answer.ok);
      if (!answer.ok) setText(this.fault, body.detail);
      return answer.ok ? body : null;
    } catch {
      show(this.fault, true);
      setText(this.fault, t("done.failed"));
      return null;
    }
  }

  async #turn(id) {
    this.#open = id;
    show(this.shelf, id === null);
    show(this.sheet, id !== null);
    this.sheet.replaceChildren();
    this.#due = 0;
    if (id === null) return;
    const back = h("a", { class: "button", href: "#records", "data-action": "back" }, t("records.back"));
    if (typeof id === "string") {
      this.sheet.replaceChildren(back, ...new Comparison(id.split(","), (where) => this.#ask(where)).parts);
      return;
    }
    const again = h("button", { type: "button", class: "button", "data-action": "again", onclick: () => this.#turn(id) }, t("records.again"));
    this.sheet.replaceChildren(back, h("p", { class: "note" }, t("records.opening")));
    const record = await this.#ask(address(id));
    if (this.#open === id) this.sheet.replaceChildren(back, ...(record ? whole(record, (where) => this.#ask(where), () => this.#turn(id)) : [again]));
  }
}

/** What the address opens: a heat's number, "1,2" for several side by side, null for the list. */
function opened(hash) {
  const [, which, several] = hash.split("/");
  if (which === "compare" && /^\d+(,\d+)*$/.test(several ?? "")) return several;
  return Number(which) || null;
}

function row(heat, choose) {
  const about = [day.format(Date.parse(heat.began_at)), t2("metal", heat.metal), count("deed.passes", heat.passes), heat.arc_s === null ? null : t("trip.arc", { time: duration(heat.arc_s) }), heat.pinned ? t("find.pinned") : null, heat.ended_at ? t("records.lasted", { time: duration((Date.parse(heat.ended_at) - Date.parse(heat.began_at)) / 1000) }) : t("records.open")];
  return h("article", { class: "row", "data-heat-id": String(heat.heat_id) },
    h("div", { class: "row-words" }, h("strong", {}, t("records.heat", { n: heat.heat_id, part: heat.part })), h("span", {}, about.filter(Boolean).join(" · ")), listed(heat) ? h("span", { class: "row-outcome", "data-said": String(Boolean(heat.outcome)) }, listed(heat)) : null),
    choose, h("a", { class: "button", href: `#records/${heat.heat_id}`, "data-action": "open record" }, t("records.show")));
}

/** A heat, most telling first. */
function whole(record, ask, again) {
  const { heat_id: id } = record;
  const at = times(record);
  const chart = new HeatChart(record, ask, at, address(id, "/chart.svg"));
  const deeds = new HeatDeeds(record, at, () => chart.moment, again);
  chart.onmoment = (ms) => deeds.told(ms);
  const hand = (what, name) => h("a", { class: "button", href: address(id, what), download: "", "data-action": "hand over", "data-value": name }, t(`records.${name}`));
  const time = (s) => (s === null ? NONE : duration(s));
  return [
    h("h2", {}, t("records.heat", { n: id, part: record.part })),
    h("p", { class: "lead" }, `${t2("metal", record.metal)} · ${day.format(Date.parse(record.began_at))} · ${record.ended_at ? day.format(Date.parse(record.ended_at)) : t("records.open")}`),
    ...outcomeParts(record, ask, (text) => day.format(Date.parse(text)), again),
    ...list("records.deviations", record.deviations.map((each) => `${each.at ? `${at(each.at)} ` : ""}${said(each.text)}`), t("records.no_deviation")),
    chart.element,
    ...new SaidThen(record, ask, at, (ms) => chart.mark(ms)).parts,
    figures([
      ["soak", said(record.soak)], ["limits", record.limits.map(said).join("; ") || t("records.no_limits")],
      ["last_arc_to_cover", time(record.last_arc_to_cover_s)], ["below_preheat", time(record.below_preheat_s)], ["unread", time(record.unread_s)],
    ]),
    ...photoParts(record, again),
    h("h3", {}, t("work.heat")), figures(workRows(record.work), "work.column"),
    ...table("records.passes", ["number", "began", "ended", "coldest", "hottest", "oxygen", "verdict"], record.passes.map((each) => [each.number, at(each.began_at), at(each.ended_at), temperature(each.coldest_c), temperature(each.hottest_c), each.oxygen_ppm === null ? NONE : `${significant(each.oxygen_ppm)} ppm`, each.verdict ? t2("verdict", each.verdict) : NONE])),
    ...table("records.rates", ["sensor", "phase", "band", "mean", "fastest_down", "fastest_up"], record.rates.map((each) => [each.channel, t2("phase", each.phase), `${degrees(each.low_c)} – ${degrees(each.high_c)}`, perHour(each.mean_c_per_h), slope(each.fastest_down_c_per_h), slope(each.fastest_up_c_per_h)])),
    ...table("records.gradients", ["phase", "at", "difference", "coldest", "hottest"], record.gradients.map((each) => [t2("phase", each.phase), at(each.at), `${integer(scale("K").to(each.difference_k))} ${scale("K").unit}`, each.coldest, each.hottest])),
    ...table("records.alarms", ["at", "alarm"], record.alarms.map((each) => [at(each.at), said(each.text)])),
    ...table("records.gaps", ["sensor", "from", "to", "why"], record.gaps.map((each) => [each.channel ?? t("records.store"), at(each.from), at(each.to), said(each.why)])),
    ...table("records.sensors", ["letter", "sensor", "kind", "place", "readings", "doubted"], record.sensors.map((each) => [each.letter ?? "", each.name, each.kind ? t2("kind", each.kind) : NONE, each.place, integer(each.readings), integer(each.doubted)])),
    ...list("records.notes", record.notes.map((each) => `${at(each.at)} ${each.by ? `${each.by}: ` : ""}${each.text}`), null),
    ...deeds.parts,
    ...(record.ended_at && record.passes.length ? [h("p", {}, h("a", { class: "button", href: `#plan/repeat/${id}`, "data-action": "repeat heat" }, t("taught.repeat", { n: id })))] : []),
    h("h3", {}, t("records.hand_over")),
    h("div", { class: "tiles" }, hand("/report.pdf", "report_a4"), hand("/report.pdf?paper=Letter", "report_letter"), hand("/readings.csv", "table"), hand("/package.json", "package")),
    ...record.cautions.map((text) => h("p", { class: "note" }, text)),
  ];
}

const temperature = (c) => (c === null ? NONE : degrees(c));
const slope = (rate) => (rate === null ? NONE : perHour(rate));

function figures(rows, words = "records") {
  return h("dl", { class: "record-figures" }, ...rows.map(([name, value]) => h("div", {}, h("dt", {}, t(`${words}.${name}`)), h("dd", {}, value))));
}

function list(title, lines, none) {
  if (lines.length === 0 && none === null) return [];
  return [h("h3", {}, t(title)), lines.length ? h("ul", { class: "record-lines" }, ...lines.map((line) => h("li", {}, line))) : h("p", {}, none)];
}

function table(title, columns, rows) {
  if (rows.length === 0) return [];
  const head = h("tr", {}, ...columns.map((name) => h("th", { scope: "col" }, t(`records.column.${name}`))));
  const body = rows.map((cells) => h("tr", {}, ...cells.map((cell) => h("td", {}, String(cell)))));
  return [h("h3", {}, t(title)), h("div", { class: "record-table", tabindex: "0", role: "group", "aria-label": t(title) }, h("table", {}, h("thead", {}, head), h("tbody", {}, ...body)))];
}
