// What a channel is checked against: a known value, melting ice, boiling water, a reference beside it.
import { h, setAttribute, show } from "./dom.js";
import { reading } from "./format.js";
import { Fault, Stepper } from "./stepper.js";
import { t, t2 } from "./words.js";

const KINDS = ["known value", "ice point", "boiling point", "beside"];
const HPA = 100;
const ICE_C = 0;
/** Only for the order in the list: the service works out what boiling water is at its air. */
const BOILING_C = 100;

export class Against {
  #kind = KINDS[0];
  #beside = null;

  /** ``known`` describes the number of a known value, ``channels`` gives every channel as it is now. */
  constructor(channel, known, channels) {
    this.channel = channel;
    this.channels = channels;
    const kinds = channel.unit === "Cel" ? KINDS : KINDS.filter((kind) => kind === "known value" || kind === "beside");
    this.kinds = h("div", { class: "chips", role: "group", "aria-label": t("calibration.against") }, ...kinds.map((kind) => h("button", { type: "button", class: "chip", "data-action": "against", "data-value": kind, onclick: () => this.#turn(kind) }, t2("calibration.kind", kind))));
    this.true = new Stepper({ name: "should_read", text: t("calibration.true"), least: true, value: null, ...known });
    this.pressure = new Stepper({ name: "pressure_hpa", text: t("calibration.pressure"), unit: "hPa", value: null, min: 500, max: 1100, steps: [10, 1], rounds: [1000, 1013] });
    this.altitude = new Stepper({ name: "altitude_m", text: t("calibration.altitude"), unit: "m", least: true, value: null, min: -400, max: 5000, steps: [100, 10], rounds: [0, 500] });
    this.most = new Stepper({ name: "most_off", text: t("calibration.most_off"), value: null, ...known, unit: channel.unit === "Cel" ? "K" : known.unit, min: 0, max: 1000, rounds: channel.unit === "Cel" ? [2, 5] : [] });
    this.references = h("div", { class: "chips", role: "group", "aria-label": t("calibration.reference") });
    this.bodies = {
      "known value": this.true.element,
      "ice point": h("p", { class: "note" }, t("calibration.ice")),
      "boiling point": h("div", {}, h("p", { class: "note" }, t("calibration.boiling_note")), this.pressure.element, this.altitude.element),
      beside: h("div", {}, h("p", { class: "note" }, t("calibration.beside_note")), this.references),
    };
    this.element = h("div", {}, h("h3", {}, t("calibration.against")), this.kinds, ...Object.values(this.bodies), this.most.element);
    this.#turn(this.#kind);
  }

  /** The check without what the channel read, with ``order`` for the list; throws a Fault with words. */
  read() {
    const most = this.most.read();
    const more = most === null ? {} : { most_off: most };
    if (this.#kind === "ice point") return { check: { against: "ice point", ...more }, order: ICE_C };
    if (this.#kind === "boiling point") return { check: { against: "boiling point", ...this.#air(), ...more }, order: BOILING_C };
    if (this.#kind === "beside") return this.#reference(more);
    const should = this.true.read();
    if (should === null) throw new Fault(t("calibration.no_true"));
    return { check: { true: should, ...more }, order: should };
  }

  #turn(kind) {
    this.#kind = kind;
    for (const chip of this.kinds.children) setAttribute(chip, "aria-pressed", chip.dataset.value === kind);
    for (const [name, body] of Object.entries(this.bodies)) show(body, name === kind);
    if (kind === "beside") this.#offer();
  }

  #air() {
    const [pressure, altitude] = [this.pressure.read(), this.altitude.read()];
    if (pressure !== null) return { pressure_pa: pressure * HPA };
    if (altitude !== null) return { altitude_m: altitude };
    throw new Fault(t("calibration.no_air"));
  }

  #fitting() {
    return this.channels().filter((each) => each.name !== this.channel.name && each.unit === this.channel.unit && each.quality === "good" && typeof each.value === "number");
  }

  #offer() {
    const fitting = this.#fitting();
    const chip = (each) => {
      const now = reading(each.value, each.unit);
      return h("button", { type: "button", class: "chip", "data-action": "reference", "data-value": each.name, "aria-pressed": String(each.name === this.#beside), onclick: () => { this.#beside = each.name; this.#offer(); } }, `${each.name} ${now.number} ${now.unit}`);
    };
    this.references.replaceChildren(...(fitting.length ? fitting.map(chip) : [h("p", { class: "note" }, t("calibration.no_reference"))]));
  }

  #reference(more) {
    const now = this.#fitting().find((each) => each.name === this.#beside);
    if (!now) throw new Fault(t("calibration.choose_reference"));
    return { check: { against: "beside", beside: now.name, true: now.value, ...more }, order: now.value };
  }
}
