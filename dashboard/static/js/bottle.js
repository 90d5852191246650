// The argon bottle: what is left in it, for how long, and saying that another one is on.
import { act, pressed } from "./deeds.js";
import { h, setText, show } from "./dom.js";
import { duration, flow, integer } from "./format.js";
import { closeSheet, openSheet } from "./sheet.js";
import { Fault, Stepper } from "./stepper.js";
import { sentence, t, t2 } from "./words.js";

const PA_PER_BAR = 1e5;
// The round figures save taps and recommend nothing; ranges are those the service accepts.
const FIELDS = [
  { name: "water_volume_l", unit: "L", min: 0, max: 1000, least: false, steps: [5, 1], rounds: [10, 20, 33, 50] },
  { name: "pressure_bar", unit: "bar", min: 0, max: 350, least: true, steps: [10, 1], rounds: [50, 100, 150, 200, 300] },
  { name: "torch_flow_l_min", unit: "L/min", min: 0, max: 100, least: true, steps: [1, 0.5], rounds: [6, 8, 10, 12] },
];

export class Bottle {
  #argon = null;

  constructor() {
    this.left = h("strong");
    this.about = h("span", { class: "live" });
    this.button = h("button", { type: "button", class: "button", "data-action": "new bottle", onclick: () => this.#open() }, t("bottle.new"));
    this.element = h("article", { class: "row", "data-part": "bottle", hidden: true }, h("div", { class: "row-words" }, this.left, this.about), this.button);
    this.title = h("h2", { hidden: true }, t("bottle.title"));
  }

  show(argon) {
    this.#argon = argon ?? null;
    show(this.element, this.#argon !== null);
    show(this.title, this.#argon !== null);
    if (!argon) return;
    const { left_l: left, left_min: minutes } = argon;
    setText(this.left, left === null ? t("bottle.unknown") : t(minutes === null ? "bottle.left" : "bottle.left_for", { n: integer(left), time: minutes === null ? "" : duration(minutes * 60) }));
    const used = t("bottle.used", { purge: integer(argon.used_purge_l), torch: integer(argon.used_torch_l) });
    setText(this.about, argon.reason ? `${sentence(argon.reason)} · ${used}` : `${t2("bottle.basis", argon.basis)} · ${t("bottle.flows", { purge: flow(argon.purge_l_min), torch: flow(argon.torch_l_min) })} · ${used}`);
  }

  #open() {
    const start = { water_volume_l: this.#argon?.bottle_volume_l ?? null };
    const fields = FIELDS.map((field) => new Stepper({ ...field, text: t(`bottle.${field.name}`), value: start[field.name] ?? null }));
    const fault = h("p", { class: "fault", role: "alert", hidden: true });
    const save = h("button", { type: "button", class: "button primary", "data-action": "set bottle", onclick: () => pressed(save, () => this.#save(fields, fault)) }, t("bottle.save"));
    openSheet(t("bottle.new"), "bottle", h("div", { class: "form" },
      h("p", { class: "note" }, t("bottle.note")), h("div", { class: "steppers" }, ...fields.map((field) => field.element)),
      h("div", { class: "form-foot" }, fault, h("button", { type: "button", class: "button", "data-action": "cancel", onclick: closeSheet }, t("parts.cancel")), save)));
  }

  async #save(fields, fault) {
    let values = [];
    try {
      values = fields.map((field) => field.read());
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      return;
    }
    const [volume, bar, torch] = values;
    fault.hidden = volume !== null;
    setText(fault, t("bottle.no_volume"));
    if (volume === null) return;
    const action = { kind: "set bottle", water_volume_l: volume, pressure_pa: bar === null ? null : bar * PA_PER_BAR, torch_flow_l_min: torch };
    if (await act(action, t("bottle.saved"))) closeSheet();
  }
}
