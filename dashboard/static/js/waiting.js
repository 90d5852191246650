// Parts without a heat, and the steps that teach a new shop how to get one.
import { act, pressed } from "./deeds.js";
import { h, keyed, setAttribute, setText, shape } from "./dom.js";
import { count, t, t2 } from "./words.js";
import { limitWords } from "./limits.js";

export class Waiting {
  #held = new Map();
  #sensors = new Map();

  constructor(place, openPart) {
    this.place = place;
    this.openPart = openPart;
    this.title = place.appendChild(h("h2", {}, t("bench.waiting_title")));
    this.rows = place.appendChild(h("div", { class: "rows" }));
    place.appendChild(h("button", { type: "button", class: "button", "data-action": "new part", onclick: () => openPart(null) }, t("bench.new_part")));
  }

  show(bench) {
    const parts = bench.parts.filter((part) => part.heat_id === null);
    this.#sensors = new Map(parts.map((part) => [part.id, bench.channels.filter((c) => c.part_id === part.id).length]));
    this.place.hidden = bench.parts.length === 0;
    this.title.hidden = parts.length === 0;
    keyed(this.rows, this.#held, parts, (part) => part.id, () => this.#make());
  }

  #make() {
    const name = h("strong");
    const about = h("span");
    const limits = h("span");
    let part = null;
    const begin = (phase) => {
      const button = h("button", { type: "button", class: "button", "data-action": "begin heat", "data-phase": phase }, t(`deed.begin ${phase}`));
      button.addEventListener("click", () =>
        pressed(button, () => act({ kind: "begin heat", part_id: part.id, phase }, t("done.begin heat", { part: part.name }))));
      return button;
    };
    const edit = h("button", { type: "button", class: "button", "data-action": "edit part", onclick: () => this.openPart(part.id) }, t("parts.edit"));
    const element = h("article", { class: "row" }, h("div", { class: "row-words" }, name, about, limits), h("div", { class: "row-deeds" }, begin("oven"), begin("bench"), edit));
    const update = (fresh) => {
      part = fresh;
      setAttribute(element, "data-part-id", part.id);
      setText(name, part.name);
      setText(about, `${t2("metal", part.metal)} · ${count("bench.sensors", this.#sensors.get(part.id))}`);
      setText(limits, limitWords(part.limits));
    };
    return { element, update };
  }
}

/** The steps from nothing to a verdict, and which is next. */
function steps(bench) {
  const unnamed = bench.channels.filter((channel) => channel.kind === null).length;
  const sensor = bench.channels.some((channel) => channel.kind === "thermocouple");
  const on = new Set(bench.channels.filter((c) => c.kind === "thermocouple").map((c) => c.part_id));
  const fitted = bench.parts.find((part) => on.has(part.id));
  const first = fitted ?? bench.parts[0];
  const limited = bench.parts.some((part) => on.has(part.id) && (part.limits.preheat_min_c !== null || part.limits.interpass_max_c !== null));
  return [
    { id: "plug", done: bench.channels.length > 0, more: t("guide.plug_more", { n: bench.channels.length }), go: "#sensors" },
    { id: "adopt", done: sensor, more: sensor ? t("guide.adopt_done") : t("guide.adopt_more", { n: unnamed }), go: "#sensors" },
    { id: "part", done: bench.parts.length > 0, more: t("guide.part_more"), part: null },
    { id: "assign", done: fitted !== undefined, more: t("guide.assign_more"), part: first?.id },
    { id: "limits", done: limited, more: t("parts.limits_note"), part: first?.id },
    { id: "heat", done: bench.parts.some((part) => part.heat_id !== null), more: t("guide.heat_more"), go: "#waiting" },
  ];
}

export class Guide {
  #key = "";

  constructor(place, openPart) {
    this.place = place;
    this.openPart = openPart;
  }

  show(bench) {
    const list = steps(bench);
    // Once the first heat has begun, the bench speaks for itself.
    const running = list.at(-1).done || bench.parts.length > 0 && list.slice(0, -1).every((step) => step.done);
    this.place.hidden = running;
    const key = running ? "" : JSON.stringify(list);
    if (key === this.#key) return;
    this.#key = key;
    if (running) this.place.replaceChildren();
    else this.#draw(list);
  }

  #draw(list) {
    const next = list.findIndex((step) => !step.done);
    const rows = list.map((step, i) => this.#step(step, i, i === next));
    this.place.replaceChildren(h("h2", { class: "title" }, t("guide.title")), h("p", { class: "lead" }, t("guide.lead")), h("ol", { class: "steps" }, ...rows));
  }

  #step(step, i, next) {
    const go = () => {
      if (step.go) location.hash = step.go;
      else this.openPart(step.part ?? null);
    };
    const state = step.done ? "done" : next ? "next" : "todo";
    return h("li", { class: "step", "data-step": step.id, "data-state": state },
      step.done ? shape("v-ready", "step-mark") : h("span", { class: "step-mark" }, String(i + 1)),
      h("div", {}, h("strong", {}, t(`guide.${step.id}`)), next ? h("span", {}, step.more) : null),
      next ? null : h("span", { class: "step-state" }, step.done ? t("guide.done") : t("guide.todo")),
      next ? h("button", { type: "button", class: "button primary", "data-action": `guide ${step.id}`, onclick: go }, t(`guide.${step.id}_go`)) : null);
  }
}
