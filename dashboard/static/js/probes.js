// The sensors of one part in a line: what each reads, how old that is, and its line in the chart.
import { h, keyed, setAttribute, setText } from "./dom.js";
import { duration, NONE, reading } from "./format.js";
import { t, t2 } from "./words.js";

export class Probes {
  #held = new Map();

  constructor(place) {
    this.place = place;
  }

  show(channels) {
    const thermocouples = channels.filter((c) => c.kind === "thermocouple").sort((a, b) => a.name.localeCompare(b.name));
    const others = channels.filter((c) => c.kind !== "thermocouple");
    const rows = [...thermocouples.map((channel, i) => ({ channel, line: i })), ...others.map((channel) => ({ channel, line: null }))];
    keyed(this.place, this.#held, rows, ({ channel }) => channel.name, makeProbe);
  }
}

function makeProbe() {
  const name = h("span", { class: "probe-name" });
  const value = h("b", { class: "live" });
  const age = h("span", { class: "live" });
  const element = h("li", {}, name, value, age);
  const update = ({ channel, line }) => {
    setAttribute(element, "data-channel", channel.name);
    setAttribute(element, "data-quality", channel.quality);
    setAttribute(element, "data-line", line === null ? null : line % 4);
    setText(name, channel.name.split("/").at(-1));
    setAttribute(name, "title", channel.name);
    const now = reading(channel.value, channel.unit);
    setText(value, now ? `${now.number} ${now.unit}`.trim() : NONE);
    const old = t("sensors.age", { age: duration(channel.age_s) });
    setText(age, channel.quality === "good" ? old : `${t2("sensors.quality", channel.quality)}, ${old}`);
  };
  return { element, update };
}
