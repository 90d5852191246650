// What is done to a heat on record: its readings kept for good, a note written at a moment of it.
import { act, pressed } from "./deeds.js";
import { h, setAttribute, setText, show } from "./dom.js";
import { t } from "./words.js";

export class HeatDeeds {
  /** ``moment`` gives the moment [ms] that is read in the chart; ``again`` opens the record anew. */
  constructor(record, at, moment, again) {
    Object.assign(this, { record, at, moment, again });
    this.pinned = record.pinned;
    this.pin = h("button", { type: "button", class: "button", "data-action": "pin heat", onclick: () => pressed(this.pin, () => this.#pin()) });
    this.text = h("textarea", { id: "heat-note", rows: "3", maxlength: "1000", autocomplete: "off" });
    this.by = h("input", { id: "heat-note-by", type: "text", maxlength: "80", autocomplete: "off" });
    this.when = h("span");
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    this.save = h("button", { type: "button", class: "button primary", "data-action": "write note", onclick: () => pressed(this.save, () => this.#write()) }, t("heat_deeds.write"));
    this.parts = [
      h("h3", {}, t("heat_deeds.title")),
      h("div", { class: "heat-keys" }, this.pin), h("p", { class: "note" }, t("heat_deeds.pin_note")),
      h("div", { class: "find-fields" },
        h("div", {}, h("label", { for: "heat-note" }, t("heat_deeds.note")), this.text),
        h("div", {}, h("label", { for: "heat-note-by" }, t("heat_deeds.by")), this.by)),
      this.fault, h("div", { class: "heat-keys" }, this.save), h("p", { class: "note" }, this.when),
    ];
    this.#show();
    this.told(moment());
  }

  /** The chart is read at another moment [ms]; null: not yet. */
  told(ms) {
    setText(this.when, ms === null ? t("heat_deeds.now") : t("heat_deeds.at", { time: this.at(new Date(ms).toISOString()) }));
  }

  #show() {
    setAttribute(this.pin, "aria-pressed", this.pinned);
    setText(this.pin, t(this.pinned ? "heat_deeds.unpin" : "heat_deeds.pin"));
  }

  async #pin() {
    const done = await act({ kind: "pin heat", heat_id: this.record.heat_id, pinned: !this.pinned }, t(this.pinned ? "heat_deeds.unpinned" : "heat_deeds.pinned", { n: this.record.heat_id }));
    if (!done) return;
    this.pinned = !this.pinned;
    this.#show();
  }

  async #write() {
    const text = this.text.value.trim();
    show(this.fault, text === "");
    if (text === "") {
      setText(this.fault, t("heat_deeds.empty"));
      this.text.focus();
      return;
    }
    const ms = this.moment();
    const by = this.by.value.trim();
    const done = await act({ kind: "write note", heat_id: this.record.heat_id, text, ...(by ? { by } : {}), ...(ms === null ? {} : { about_us: Math.round(ms * 1000) }) }, t("heat_deeds.written", { n: this.record.heat_id }));
    if (done) this.again();
  }
}
