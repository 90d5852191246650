// A channel checked against known values: what it read, what it should have read, for how long.
import { Against } from "./check_against.js";
import { act, pressed } from "./deeds.js";
import { h } from "./dom.js";
import { reading } from "./format.js";
import { closeSheet, openSheet } from "./sheet.js";
import { Fault } from "./stepper.js";
import { toast } from "./toasts.js";
import { t } from "./words.js";

/** By unit: what is at hand in a shop to check against, and the steps of the number. */
const AGAINST = {
  Cel: { unit: "°C", min: -50, max: 1400, steps: [10, 0.5], rounds: [0, 100] },
  ppm: { unit: "ppm", min: 0, max: 250_000, steps: [100, 10], rounds: [0, 209_500] },
  "l/min": { unit: "L/min", min: 0, max: 300, steps: [1, 0.1], rounds: [0, 5, 10] },
  Pa: { unit: "Pa", min: 0, max: 40e6, steps: [1e6, 1e5], rounds: [0] },
};
const DAYS = [30, 90, 365];

/** Whether a channel can be checked against anything. */
export const canCalibrate = (channel) => channel.kind !== null && channel.unit in AGAINST;

/** Open the sheet for a channel; `channels` gives all of them as they are now. */
export function openCalibration(channel, channels) {
  openSheet(t("calibration.title", { channel: channel.name }), "calibration", new Sheet(channel, channels).element);
}

class Sheet {
  constructor(channel, channels) {
    this.channel = channel;
    this.latest = () => channels().find((each) => each.name === channel.name);
    this.checks = (channel.calibration?.checks ?? []).map((check) => ({ check, order: check.true }));
    this.days = null;
    this.list = h("div", { class: "rows" });
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    this.against = new Against(channel, AGAINST[channel.unit], channels);
    this.note = h("input", { id: "field-note", type: "text", maxlength: "200", autocomplete: "off", value: channel.calibration?.note ?? "" });
    this.take = h("button", { type: "button", class: "button", "data-action": "take check", onclick: () => this.#take() }, t("calibration.take"));
    this.save = h("button", { type: "button", class: "button primary", "data-action": "calibrate channel", onclick: () => pressed(this.save, () => this.#save()) }, t("calibration.save"));
    const days = [null, ...DAYS].map((n) => h("button", { type: "button", class: "chip", "data-action": "valid days", "data-value": String(n), "aria-pressed": String(n === null), onclick: (event) => this.#choose(n, event.currentTarget) }, n === null ? t("parts.not_set") : t("calibration.days", { n })));
    this.days_row = h("div", { class: "chips", role: "group", "aria-label": t("calibration.valid") }, ...days);
    this.element = h("div", { class: "form" },
      h("p", { class: "note" }, t("calibration.lead")), due(channel.calibration), this.list,
      this.against.element, this.take,
      h("h3", {}, t("calibration.valid")), this.days_row,
      h("label", { class: "field", for: "field-note" }, t("calibration.note")), this.note,
      h("div", { class: "form-foot" }, this.fault, h("button", { type: "button", class: "button", "data-action": "cancel", onclick: closeSheet }, t("parts.cancel")), this.save));
    this.#show();
  }

  #choose(days, button) {
    this.days = days;
    for (const each of this.days_row.children) each.setAttribute("aria-pressed", String(each === button));
  }

  #show() {
    const words = (value) => { const now = reading(value, this.channel.unit); return `${now.number} ${now.unit}`; };
    const said = ({ reads, against, true: should, beside, pressure_pa: pa, altitude_m: m }) => {
      if (against === "ice point") return t("calibration.check_ice", { reads: words(reads) });
      if (against === "boiling point") return t("calibration.check_boiling", { reads: words(reads), air: pa === undefined ? `${m} m` : `${pa / 100} hPa` });
      return t(against === "beside" ? "calibration.check_beside" : "calibration.check", { reads: words(reads), true: words(should), beside });
    };
    this.list.replaceChildren(...(this.checks.length ? this.checks.map((each) =>
      h("article", { class: "row" }, h("div", { class: "row-words" }, h("strong", {}, said(each.check))),
        h("button", { type: "button", class: "button", "data-action": "drop check", onclick: () => { this.checks = this.checks.filter((other) => other !== each); this.#show(); } }, t("calibration.drop"))))
      : [h("p", { class: "note" }, t("calibration.none"))]));
  }

  /** What it reads now, uncorrected, against what it should read. */
  #take() {
    let against = null;
    try {
      against = this.against.read();
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      return this.#say(error.message || t("calibration.look_above"));
    }
    const now = this.latest();
    const reads = now?.calibration ? now.calibration.uncorrected : now?.value;
    if (typeof reads !== "number" || now.quality !== "good") return this.#say(t("calibration.no_reading"));
    this.#say(null);
    const taken = { check: { reads, ...against.check }, order: against.order };
    this.checks = [...this.checks.filter((each) => each.order !== taken.order), taken].sort((a, b) => a.check.reads - b.check.reads);
    this.#show();
  }

  #say(text) {
    this.fault.hidden = text === null;
    this.fault.textContent = text ?? "";
  }

  async #save() {
    const done = await act({ kind: "calibrate channel", channel: this.channel.name, checks: this.checks.map((each) => each.check), valid_days: this.days, note: this.note.value.trim() },
      t(this.checks.length ? "calibration.saved" : "calibration.off", { channel: this.channel.name }));
    if (done) closeSheet();
    else toast(t("calibration.kept"), { bad: true });
  }
}

/** When the next check is due, if somebody has said for how long this one is trusted. */
function due(calibration) {
  if (!calibration?.due) return null;
  return h("p", { class: "lead" }, t(calibration.overdue ? "calibration.was_due" : "calibration.due", { date: new Date(calibration.due).toLocaleDateString() }));
}
