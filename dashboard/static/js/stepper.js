// A number set with gloves on: coarse and fine steps, round figures to start from, or not set.
import { h, setText } from "./dom.js";
import { t } from "./words.js";

export class Fault extends Error {}

/**
 * @param {object} o name, text, unit, value (number|null), min, max, steps [coarse, fine], rounds [numbers],
 *   least: the value may equal min (true) or must lie above it.
 */
export class Stepper {
  constructor(o) {
    this.o = o;
    this.was = o.value;
    this.decimals = o.steps.some((step) => step < 1) ? (o.steps.some((step) => step < 0.1) ? 2 : 1) : 0;
    const id = `field-${o.name}`;
    this.input = h("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", placeholder: t("parts.not_set"), "aria-describedby": `${id}-unit` });
    this.#set(o.value);
    const step = (by, sign) => h("button", { type: "button", class: "step-by", "data-action": "step", "data-by": String(sign * by), "aria-label": `${o.text} ${sign < 0 ? "−" : "+"}${by} ${o.unit}`, onclick: () => this.#by(sign * by) }, `${sign < 0 ? "−" : "+"}${by}`);
    const [coarse, fine] = o.steps;
    const round = (n) => h("button", { type: "button", class: "chip", "data-action": "round", "data-value": String(n), onclick: () => this.#set(n) }, String(n));
    const none = h("button", { type: "button", class: "chip none", "data-action": "not set", onclick: () => this.#set(null) }, t("parts.clear"));
    this.element = h("div", { class: "stepper", "data-field": o.name },
      h("label", { for: id }, o.text),
      h("div", { class: "stepper-row" }, step(coarse, -1), step(fine, -1), h("span", { class: "stepper-number" }, this.input, h("span", { id: `${id}-unit` }, o.unit)), step(fine, 1), step(coarse, 1)),
      h("div", { class: "chips" }, ...o.rounds.map(round), none),
      (this.fault = h("p", { class: "fault", role: "alert", hidden: true })));
  }

  #set(value) {
    this.input.value = value === null ? "" : String(Number(value.toFixed(this.decimals + 1)));
  }

  #by(step) {
    const now = this.#typed();
    if (now === null) this.#set(this.o.rounds[Math.floor(this.o.rounds.length / 2)]);
    else if (Number.isFinite(now)) this.#set(Math.min(this.o.max, Math.max(this.o.least ? this.o.min : Math.min(this.o.steps[1], now), now + step)));
  }

  #typed() {
    const text = this.input.value.trim().replace(",", ".").replace("−", "-");
    return text === "" ? null : Number(text);
  }

  /** The number, or null when not set. @throws {Fault} with one sentence. */
  read() {
    const { text, min, max, unit, least } = this.o;
    const value = this.#typed();
    let wrong = null;
    if (value !== null) {
      if (!Number.isFinite(value)) wrong = t("parts.not_number", { field: text, value: this.input.value });
      else if (value > max || value < min || (!least && value === min)) wrong = t(least ? "parts.out_of_range" : "parts.out_of_range_above", { field: text, value, min, max, unit });
    }
    this.fault.hidden = wrong === null;
    this.input.setAttribute("aria-invalid", String(wrong !== null));
    if (wrong === null) return value;
    setText(this.fault, wrong);
    this.input.focus();
    throw new Fault(wrong);
  }
}
