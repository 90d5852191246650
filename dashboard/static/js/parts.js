// All parts: what is known of each, its limits and sensors, and where it is.
import { openByHand, openGoverning } from "./by_hand.js";
import { pressed } from "./deeds.js";
import { h, keyed, setAttribute, setText, show } from "./dom.js";
import { count, t, t2 } from "./words.js";
import { limitWords } from "./limits.js";

export class View {
  #held = new Map();
  #channels = [];

  constructor(place, bench, openPart) {
    this.openPart = openPart;
    this.rows = h("div", { class: "rows" });
    this.none = h("div", { class: "empty" }, h("h3", {}, t("parts.none")), h("p", {}, t("parts.none_more")));
    const make = h("button", { type: "button", class: "button primary", "data-action": "new part", onclick: () => openPart(null) }, t("parts.new"));
    place.replaceChildren(h("h2", {}, t("parts.title")), h("p", { class: "lead" }, t("parts.lead")), this.none, this.rows, make);
  }

  show(bench) {
    this.#channels = bench.channels;
    show(this.none, bench.parts.length === 0);
    keyed(this.rows, this.#held, bench.parts, (part) => part.id, () => this.#make());
  }

  #make() {
    const name = h("strong");
    const about = h("span");
    const limits = h("span");
    const place = h("span");
    const sensors = h("span");
    let part = null;
    const edit = h("button", { type: "button", class: "button", "data-action": "edit part", onclick: () => this.openPart(part.id) }, t("parts.edit"));
    const hand = h("button", { type: "button", class: "button", "data-action": "by hand", onclick: () => openByHand(part) }, t("by_hand.open"));
    const goBy = h("button", { type: "button", class: "button", "data-action": "choose procedure", onclick: () => pressed(goBy, async () => (await import("./procedures.js")).openChoice(part)) }, t("procedures.procedure"));
    const goesBy = h("span");
    const side = h("button", { type: "button", class: "button primary", "data-action": "governing side", onclick: () => openGoverning(part) }, t("by_hand.ask"));
    const element = h("article", { class: "row" }, h("div", { class: "row-words" }, name, about, goesBy, limits, place, sensors), h("div", { class: "row-deeds" }, side, hand, goBy, edit));
    const update = (fresh) => {
      part = fresh;
      setAttribute(element, "data-part-id", part.id);
      setText(name, part.name);
      show(side, Boolean(part.limits.in_force?.conflict));
      setText(about, `${t2("metal", part.metal)} · ${t2("phase", part.phase)}`);
      setText(limits, limitWords(part.limits));
      show(goesBy, Boolean(part.procedure));
      if (part.procedure) setText(goesBy, procedureWords(part.procedure));
      const mm = part.preheat_measured_mm ?? null;
      show(place, mm !== null);
      setText(place, mm === null ? "" : t(mm > 50 ? "parts.measured_wide" : "parts.measured", { mm: String(Number(mm.toFixed(1))) }));
      const names = this.#channels.filter((c) => c.part_id === part.id).map((c) => c.name);
      setText(sensors, names.length ? names.join(", ") : count("bench.sensors", 0));
    };
    return { element, update };
  }
}

/** "pump, hot · version 1 (newest 2) · with limits of its own". */
function procedureWords({ name, version, newest, own_limits: own }) {
  return [name, t(newest > version ? "procedures.older" : "procedures.newest", { n: version, newest }), own ? t("procedures.own_limits") : null].filter(Boolean).join(" · ");
}
