// Every alarm that wants to be seen. The gravest stands in one row above the bench; all of them
// are one tap away, so that the verdict keeps its place however many there are.
import { act, pressed } from "./deeds.js";
import { h, keyed, setAttribute, setText, shape, show } from "./dom.js";
import { duration, timeOfDay } from "./format.js";
import { closeSheet, openSheet, sheetIs } from "./sheet.js";
import { soundClass } from "./sound.js";
import { sentence, t, t2 } from "./words.js";

const STATES = ["unacknowledged", "returned", "acknowledged"];
const CLASSES = ["danger", "above", "below", "fault"];
/** What a person breathes comes before every casting. */
const BREATH = "room oxygen";
const SHAPES_MOST = 4;
/** A row that takes another's place cannot be tapped for so long: the finger meant the other. */
const SETTLE_MS = 600;

export class Alarms {
  #lead = new Map();
  #rows = new Map();
  #list = [];
  #bench = null;

  constructor(place, announce) {
    this.place = place;
    this.announce = announce;
    this.rest = h("strong");
    this.shapes = h("span", { class: "more-shapes" });
    this.waiting = h("span", { class: "more-waiting" });
    this.more = h("button", { type: "button", class: "button more", "data-action": "all alarms", onclick: () => this.#open() }, h("span", {}, this.rest, this.shapes), this.waiting);
    this.rows = h("div", { class: "alarm-rows" });
  }

  show(bench) {
    const known = new Set(this.calling.map((alarm) => alarm.id));
    this.#bench = bench;
    this.#list = bench.alarms.filter((alarm) => STATES.includes(alarm.state)).sort(byUrgency(bench));
    // Read out once, when it is new; the list itself changes with every second of age.
    const fresh = this.calling.filter((alarm) => !known.has(alarm.id));
    if (fresh.length) setText(this.announce, fresh.map((alarm) => this.#whole(alarm)).join(" "));
    this.#draw();
  }

  /** Alarms that have not been acknowledged, the gravest first. */
  get calling() {
    return this.#list.filter((alarm) => alarm.state !== "acknowledged");
  }

  /** What there is to be said of those that call: [{id, text}], the gravest first. */
  get spoken() {
    const calling = this.calling;
    return calling.map((alarm, i) => {
      const kind = t2("alarm.kind", alarm.kind);
      const part = this.#part(alarm);
      const said = alarm.channel ? t("speech.sensor", { kind, channel: alarm.channel }) : part ? t("speech.part", { part, what: kind.toLowerCase() }) : t("speech.shop", { kind });
      const more = calling.length - 1;
      return { id: alarm.id, text: i === 0 && more > 0 ? `${said} ${t("speech.more", { n: more })}` : said };
    });
  }

  /** Nothing is live: a list of old alarms must not hide that. */
  lose() {
    if (sheetIs("alarms")) closeSheet();
  }

  #draw() {
    setAttribute(this.place, "data-count", this.#list.length);
    const [lead, ...rest] = this.#list;
    const replaced = this.#lead.size > 0 && lead && !this.#lead.has(lead.id);
    keyed(this.place, this.#lead, lead ? [lead] : [], (alarm) => alarm.id, () => this.#make(replaced));
    if (lead) this.#drawMore(rest, this.#lead.get(lead.id).deeds);
    if (!sheetIs("alarms")) return;
    if (lead) keyed(this.rows, this.#rows, this.#list, (alarm) => alarm.id, () => this.#make(false));
    else closeSheet();
  }

  #drawMore(rest, deeds) {
    if (deeds.firstElementChild !== this.more) deeds.prepend(this.more);
    show(this.more, rest.length > 0);
    setText(this.rest, t("alarm.more", { n: rest.length }));
    const waiting = rest.filter((alarm) => alarm.state !== "acknowledged").length;
    setText(this.waiting, waiting ? t("alarm.more_waiting", { n: waiting }) : "");
    show(this.waiting, waiting > 0);
    const ids = [...new Set(rest.map((alarm) => `a-${soundClass(alarm.kind)}`))].slice(0, SHAPES_MOST);
    if (this.shapes.dataset.of === ids.join()) return;
    this.shapes.dataset.of = ids.join();
    this.shapes.replaceChildren(...ids.map((id) => shape(id)));
  }

  #open() {
    openSheet(t("alarm.label"), "alarms", this.rows);
    this.#draw();
  }

  #part(alarm) {
    return this.#bench.parts.find((part) => part.id === alarm.part_id)?.name ?? null;
  }

  #where(alarm) {
    const part = this.#part(alarm);
    if (alarm.channel && part) return t("alarm.on", { channel: alarm.channel, part });
    return part ?? alarm.channel ?? "";
  }

  #whole(alarm) {
    const about = [t2("alarm.kind", alarm.kind), this.#where(alarm)].filter(Boolean).join(", ");
    return `${about}: ${detail(alarm, this.#part(alarm))}.`;
  }

  #make(settle) {
    const use = shape("a-fault");
    const kind = h("strong");
    const where = h("span", { class: "alarm-where" });
    const text = h("span", { class: "alarm-text" });
    const since = h("span", { class: "alarm-since" });
    const button = h("button", { type: "button", class: "button", "data-action": "acknowledge alarm" }, t("deed.acknowledge alarm"));
    const deeds = h("div", { class: "alarm-deeds" }, button);
    const element = h("article", { class: "alarm" }, use, h("div", { class: "alarm-words" }, h("p", { class: "alarm-head" }, kind, where), h("p", { class: "alarm-more" }, text, since)), deeds);
    let id = null;
    let name = "";
    button.addEventListener("click", () =>
      pressed(button, () => act({ kind: "acknowledge alarm", alarm_id: id }, t("done.acknowledge alarm", { kind: name }))));
    if (settle) {
      button.disabled = true;
      setTimeout(() => {
        button.disabled = false;
      }, SETTLE_MS);
    }
    const update = (alarm) => {
      id = alarm.id;
      name = t2("alarm.kind", alarm.kind);
      setAttribute(element, "data-alarm-id", alarm.id);
      setAttribute(element, "data-state", alarm.state);
      setAttribute(element, "data-kind", alarm.kind);
      setAttribute(element, "data-class", soundClass(alarm.kind));
      setAttribute(use.firstChild, "href", `#a-${soundClass(alarm.kind)}`);
      setText(kind, name);
      setText(where, this.#where(alarm));
      setText(text, detail(alarm, this.#part(alarm)));
      const began = Date.parse(alarm.since);
      const age = duration(Math.max(0, Date.parse(this.#bench.at) - began) / 1000);
      const life = alarm.state === "unacknowledged" ? "" : ` · ${t2("alarm.state", alarm.state)}`;
      setText(since, t("alarm.since", { time: timeOfDay(began), age }) + life);
      show(button, alarm.state !== "acknowledged");
    };
    return { element, update, deeds };
  }
}

/** The alarm's sentence without what stands beside it already: its kind, part and channel. */
export function detail({ kind, channel, text }, part) {
  const said = [part, channel && `${kind} from ${channel}`, channel, kind, "readings are not being recorded"];
  let rest = text;
  for (const lead of said) if (lead && rest.toLowerCase().startsWith(`${lead}: `.toLowerCase())) rest = rest.slice(lead.length + 2);
  return sentence(rest.replace(` is ${kind} `, `, ${t("alarm.limit")} `));
}

/** Not acknowledged first; of those the air, the gravest, a part with the arc on before others, the newest. */
function byUrgency(bench) {
  const welding = new Set(bench.parts.filter((part) => part.pass_running).map((part) => part.id));
  return (a, b) =>
    STATES.indexOf(a.state) - STATES.indexOf(b.state) ||
    (b.kind === BREATH) - (a.kind === BREATH) ||
    CLASSES.indexOf(soundClass(a.kind)) - CLASSES.indexOf(soundClass(b.kind)) ||
    welding.has(b.part_id) - welding.has(a.part_id) ||
    b.since.localeCompare(a.since);
}
