// How far a probe may be off, which no reading can show: its wire's class, its drift, its checks.
import { act, pressed } from "./deeds.js";
import { h } from "./dom.js";
import { integer, oneDecimal } from "./format.js";
import { closeSheet, openSheet, tiles } from "./sheet.js";
import { Fault, Stepper } from "./stepper.js";
import { scale } from "./units.js";
import { t } from "./words.js";

const CLASSES = ["IEC class 1", "IEC class 2", "ASTM standard", "ASTM special"];
const FIELDS = [
  { name: "drift_k_per_year", unit: "K", min: 0, max: 100, least: true, steps: [1, 0.5], rounds: [1, 2, 5] },
  { name: "check_off_k", unit: "K", min: 0, max: 50, least: false, steps: [0.5, 0.1], rounds: [0.5, 1, 2] },
];

/** What the bench says of it, for the sensor's row. */
export function errorWords(channel) {
  const floor = channel.error_floor_k ?? null;
  if (floor === null) return t("probe_error.none");
  const shown = scale("K").to(floor);
  return t("probe_error.floor", { n: shown < 10 ? oneDecimal(shown) : integer(shown), unit: scale("K").unit });
}

/** Open the sheet for a probe; `letters` are the types of wire. */
export function openProbeError(channel, letters) {
  openSheet(t("probe_error.title", { channel: channel.name }), "probe error", new Sheet(channel, letters).element);
}

class Sheet {
  #letter = null;
  #class = null;

  constructor(channel, letters) {
    this.channel = channel;
    const choose = (name, values, text, set) => {
      const list = tiles(name, values.map((value) => ({ value, text: text(value) })), (value, tile) => {
        const again = tile.getAttribute("aria-pressed") === "true";
        for (const other of tile.parentElement.children) other.setAttribute("aria-pressed", String(other === tile && !again));
        set(again ? null : value);
      });
      list.classList.add("small");
      return list;
    };
    this.steppers = FIELDS.map((field) => new Stepper({ ...field, text: t(`probe_error.${field.name}`), value: null }));
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    this.save = h("button", { type: "button", class: "button primary", "data-action": "rate probe", onclick: () => pressed(this.save, () => this.#save()) }, t("probe_error.save"));
    this.element = h("div", { class: "form" },
      h("p", { class: "note" }, t("probe_error.lead")), h("p", { class: "lead" }, errorWords(channel)),
      h("h3", {}, t("probe_error.letter")), choose("probe letter", letters, (letter) => t("sensors.type", { letter }), (letter) => { this.#letter = letter; }),
      h("h3", {}, t("probe_error.class")), choose("probe class", CLASSES, (name) => name, (name) => { this.#class = name; }),
      h("div", { class: "steppers" }, ...this.steppers.map((each) => each.element)),
      h("p", { class: "note" }, t("probe_error.replaces")),
      h("div", { class: "form-foot" }, this.fault, h("button", { type: "button", class: "button", "data-action": "cancel", onclick: closeSheet }, t("parts.cancel")), this.save));
  }

  #say(text) {
    this.fault.hidden = text === null;
    this.fault.textContent = text ?? "";
  }

  async #save() {
    this.#say(null);
    let drift = null;
    let checks = null;
    try {
      [drift, checks] = this.steppers.map((each) => each.read());
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      return;
    }
    if ((this.#letter === null) !== (this.#class === null)) {
      this.#say(t("probe_error.both"));
      return;
    }
    const said = { letter: this.#letter, tolerance_class: this.#class, drift_k_per_year: drift ?? 0, check_off_k: checks };
    if (await act({ kind: "rate probe", channel: this.channel.name, ...said }, t("probe_error.saved", { channel: this.channel.name }))) closeSheet();
    else this.#say(t("calibration.kept"));
  }
}
