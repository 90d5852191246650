// Every alarm that wants to be seen: not acknowledged first, then those still there.
import { act, pressed } from "./deeds.js";
import { h, keyed, setAttribute, setText, shape } from "./dom.js";
import { duration, timeOfDay } from "./format.js";
import { soundClass } from "./sound.js";
import { t, t2 } from "./words.js";

const STATES = ["unacknowledged", "returned", "acknowledged"];
const CLASSES = ["danger", "above", "below", "fault"];
const SHOWN = 4;

export class Alarms {
  #held = new Map();
  #all = false;
  #list = [];
  #at = 0;

  constructor(place, announce) {
    this.announce = announce;
    this.rows = place.appendChild(h("div", { class: "alarm-rows" }));
    this.more = place.appendChild(h("button", { type: "button", class: "button more", "data-action": "more alarms", hidden: true }));
    this.more.addEventListener("click", () => {
      this.#all = !this.#all;
      this.#draw();
    });
  }

  show(bench) {
    this.#at = Date.parse(bench.at);
    const known = new Set(this.calling.map((alarm) => alarm.id));
    this.#list = bench.alarms.filter((alarm) => STATES.includes(alarm.state)).sort(byUrgency);
    // Read out once, when it is new; the list itself changes with every second of age.
    const fresh = this.calling.filter((alarm) => !known.has(alarm.id));
    if (fresh.length) setText(this.announce, fresh.map((alarm) => `${t2("alarm.kind", alarm.kind)}: ${alarm.text}`).join(" "));
    this.#draw();
  }

  /** Alarms that have not been acknowledged. */
  get calling() {
    return this.#list.filter((alarm) => alarm.state !== "acknowledged");
  }

  #draw() {
    const shown = this.#all ? this.#list : this.#list.slice(0, Math.max(SHOWN, this.calling.length));
    keyed(this.rows, this.#held, shown, (alarm) => alarm.id, () => this.#make());
    const rest = this.#list.length - shown.length;
    this.more.hidden = rest === 0 && !(this.#all && this.#list.length > SHOWN);
    setText(this.more, rest ? t("alarm.more", { n: rest }) : t("alarm.fewer"));
  }

  #make() {
    const use = shape("a-fault");
    const kind = h("strong");
    const text = h("p", { class: "alarm-text" });
    const since = h("span", { class: "alarm-since" });
    const button = h("button", { type: "button", class: "button", "data-action": "acknowledge alarm" }, t("deed.acknowledge alarm"));
    const element = h("article", { class: "alarm" }, use, h("div", {}, h("p", { class: "alarm-head" }, kind, since), text), button);
    let id = null;
    let name = "";
    button.addEventListener("click", () =>
      pressed(button, () => act({ kind: "acknowledge alarm", alarm_id: id }, t("done.acknowledge alarm", { kind: name }))));
    const update = (alarm) => {
      id = alarm.id;
      name = t2("alarm.kind", alarm.kind);
      setAttribute(element, "data-alarm-id", alarm.id);
      setAttribute(element, "data-state", alarm.state);
      setAttribute(element, "data-kind", alarm.kind);
      setAttribute(element, "data-class", soundClass(alarm.kind));
      setAttribute(use.firstChild, "href", `#a-${soundClass(alarm.kind)}`);
      setText(kind, name);
      setText(text, alarm.text);
      const began = Date.parse(alarm.since);
      const age = duration(Math.max(0, this.#at - began) / 1000);
      const life = alarm.state === "unacknowledged" ? "" : ` · ${t2("alarm.state", alarm.state)}`;
      setText(since, t("alarm.since", { time: timeOfDay(began), age }) + life);
      button.hidden = alarm.state === "acknowledged";
    };
    return { element, update };
  }
}

function byUrgency(a, b) {
  return (
    STATES.indexOf(a.state) - STATES.indexOf(b.state) ||
    CLASSES.indexOf(soundClass(a.kind)) - CLASSES.indexOf(soundClass(b.kind)) ||
    b.since.localeCompare(a.since)
  );
}
