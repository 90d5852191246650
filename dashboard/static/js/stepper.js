// A number set with gloves on: coarse and fine steps, round figures to start from, or not set.
import { h, setText } from "./dom.js";
import { scale } from "./units.js";
import { t } from "./words.js";

export class Fault extends Error {}

/**
 * Everything given and read is in the unit given; a device that shows another unit shows and takes that one.
 *
 * @param {object} o name, text, unit, value (number|null), min, max, steps [coarse, fine], rounds [numbers],
 *   least: the value may equal min (true) or must lie above it.
 */
export class Stepper {
  constructor(given) {
    this.given = given;
    this.scale = scale(given.unit);
    const o = (this.o = this.scale.unit === given.unit ? given : inUnit(given, this.scale));
    this.decimals = o.steps.some((step) => step < 1) ? (o.steps.some((step) => step < 0.1) ? 2 : 1) : 0;
    const id = `field-${o.name}`;
    this.input = h("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", placeholder: t("parts.not_set"), "aria-describedby": `${id}-unit` });
    this.#set(o.value);
    this.untouched = this.input.value;
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

  /** Show a value that somebody asked for, in the unit given. */
  put(value) {
    this.#set(value === null ? null : this.scale.to(value));
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

  #inGiven(typed) {
    return this.scale.unit === this.given.unit ? typed : Number(this.scale.from(typed).toFixed(6));
  }

  /** The number, or null when not set. @throws {Fault} with one sentence. */
  read() {
    const { text, min, max, unit, least } = this.o;
    const typed = this.#typed();
    // What nobody touched stays what it was, to the last digit, whatever unit it was shown in.
    const value = this.input.value === this.untouched ? this.given.value : typed === null ? null : this.#inGiven(typed);
    let wrong = null;
    if (value !== null) {
      if (!Number.isFinite(value)) wrong = t("parts.not_number", { field: text, value: this.input.value });
      else if (value > this.given.max || value < this.given.min || (!least && value === this.given.min)) wrong = t(least ? "parts.out_of_range" : "parts.out_of_range_above", { field: text, value: typed, min, max, unit });
    }
    this.fault.hidden = wrong === null;
    this.input.setAttribute("aria-invalid", String(wrong !== null));
    if (wrong === null) return value;
    setText(this.fault, wrong);
    this.input.focus();
    throw new Fault(wrong);
  }
}

/** The same field in the unit that the device shows: its ends rounded inwards, its round figures round again. */
function inUnit(given, { unit, to }) {
  const tidy = (figure) => {
    const step = Math.abs(figure) >= 100 ? 25 : Math.abs(figure) >= 20 ? 5 : 1;
    return Math.round(figure / step) * step;
  };
  return {
    ...given,
    unit,
    value: given.value === null ? null : to(given.value),
    min: Math.ceil(to(given.min)),
    max: Math.floor(to(given.max)),
    steps: given.steps.map((step) => Math.max(1, 2 * step)),
    rounds: [...new Set(given.rounds.map((figure) => tidy(to(figure))))],
  };
}
