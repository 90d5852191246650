// What a cavity holds, piece by piece: chosen, measured, added up by the service, taken in by a tap.
import { pressed } from "./deeds.js";
import { h, setText, show } from "./dom.js";
import { tiles } from "./sheet.js";
import { Fault, Stepper } from "./stepper.js";
import { t } from "./words.js";

const TIMEOUT_MS = 4000;
const mm = (name, rounds, steps = [10, 1], most = 2000) => ({ name, unit: "mm", min: 0, max: most, least: false, steps, rounds });
const OUTSIDE = mm("outside", [38, 42.4, 48.3, 60.3, 76.1], [1, 0.1]);
const WALL = mm("wall", [1, 1.5, 2, 3], [0.5, 0.1], 300);
const LENGTH = mm("length", [50, 100, 200, 300], [10, 1], 20_000);
const KG = (name) => ({ name, unit: "kg", min: 0, max: 2000, least: name === "empty", steps: [0.1, 0.01], rounds: [2, 4, 6, 10] });

/** What each kind is measured by, and how it is written: fields, then words. */
const KINDS = {
  pipe: { size: "pipe_sizes", fields: [LENGTH], word: (size, [length]) => `pipe ${size} x ${length}` },
  elbow: { size: "pipe_sizes", fields: [{ name: "angle", unit: "°", min: 0, max: 360, least: false, steps: [15, 5], rounds: [30, 45, 90, 180] }], word: (size, [angle]) => `elbow ${size} ${angle}` },
  gauge: { size: "gauges", fields: [OUTSIDE, LENGTH], word: (size, [outside, length]) => `tube ${outside} gauge ${size} x ${length}` },
  tube: { fields: [OUTSIDE, WALL, LENGTH], word: (_, [outside, wall, length]) => `tube ${outside} wall ${wall} x ${length}` },
  bend: { fields: [OUTSIDE, WALL, mm("radius", [50, 75, 90, 120]), { name: "angle", unit: "°", min: 0, max: 360, least: false, steps: [15, 5], rounds: [30, 45, 90, 180] }], word: (_, [outside, wall, radius, angle]) => `bend ${outside} wall ${wall} r ${radius} ${angle}` },
  cone: { fields: [mm("large", [40, 60, 80, 100]), mm("small", [20, 30, 40, 60]), LENGTH], word: (_, [large, small, length]) => `cone ${large} ${small} x ${length}` },
  water: { fields: [KG("full"), KG("empty")], word: (_, [full, empty]) => `water ${full} ${empty}` },
  litres: { fields: [{ name: "known", unit: "L", min: 0, max: 1000, least: false, steps: [0.1, 0.01], rounds: [0.1, 0.5, 1, 2] }], word: (_, [litres]) => `litres ${litres}` },
};

export class Pieces {
  #pieces = [];
  #known = null;
  #kind = "pipe";
  #size = null;

  /** take(litres, how) is called when somebody takes the sum in; nothing is set before. */
  constructor(take) {
    this.take = take;
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    this.kinds = tiles("piece kind", Object.keys(KINDS).map((kind) => ({ value: kind, text: t(`volume.kind.${kind}`), more: t(`volume.kind_more.${kind}`), chosen: kind === this.#kind })), (kind) => this.#choose(kind));
    this.kinds.classList.add("small");
    this.form = h("div", {});
    this.add = h("button", { type: "button", class: "button", "data-action": "add piece", onclick: () => pressed(this.add, () => this.#add()) }, t("volume.add"));
    this.list = h("div", { class: "rows" });
    this.sum = h("p", { class: "lead", role: "status" });
    this.cautions = h("div", {});
    this.use = h("button", { type: "button", class: "button primary", "data-action": "take volume", hidden: true, onclick: () => this.#use() });
    this.element = h("section", { class: "metal-guide", "aria-label": t("volume.title") }, h("h4", {}, t("volume.title")), this.kinds, this.form, this.add, this.fault, this.list, this.sum, this.cautions, this.use);
    this.#ask([]);
  }

  /** The pieces' answer, or null with the reason shown. */
  async #ask(pieces) {
    this.#say(null);
    try {
      const asked = new URLSearchParams(pieces.map((piece) => ["piece", piece]));
      const answer = await fetch(`/api/v1/volume?${asked}`, { signal: AbortSignal.timeout(TIMEOUT_MS) });
      const body = await answer.json();
      if (!answer.ok) {
        this.#say(body.detail);
        return null;
      }
      const first = this.#known === null;
      this.#known = body;
      if (first) this.#choose(this.#kind);
      return body;
    } catch {
      this.#say(t("done.failed"));
      return null;
    }
  }

  #say(text) {
    show(this.fault, text !== null);
    setText(this.fault, text ?? "");
  }

  #choose(kind) {
    this.#kind = kind;
    for (const tile of this.kinds.children) tile.setAttribute("aria-pressed", String(tile.dataset.value === kind));
    const { size, fields } = KINDS[kind];
    const sizes = size ? this.#known?.[size] ?? [] : [];
    this.#size = sizes.includes(this.#size) ? this.#size : sizes[Math.floor(sizes.length / 2)] ?? null;
    const choices = tiles("piece size", sizes.map((each) => ({ value: each, text: String(each), chosen: each === this.#size })), (value, tile) => {
      this.#size = value;
      for (const other of tile.parentElement.children) other.setAttribute("aria-pressed", String(other === tile));
    });
    choices.classList.add("small");
    this.steppers = fields.map((field) => new Stepper({ ...field, name: `piece-${field.name}`, text: t(`volume.field.${field.name}`), value: null }));
    this.form.replaceChildren(...(sizes.length ? [h("h4", {}, t(`volume.size.${size}`)), choices] : []), h("div", { class: "steppers" }, ...this.steppers.map((each) => each.element)));
  }

  async #add() {
    let piece;
    try {
      const values = this.steppers.map((each) => each.read());
      const missing = values.indexOf(null);
      if (missing >= 0) throw new Fault(t("volume.missing", { field: this.steppers[missing].o.text }));
      piece = KINDS[this.#kind].word(this.#size, values);
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      this.#say(error.message);
      return;
    }
    await this.#become([...this.#pieces, piece]);
  }

  async #become(pieces) {
    const answer = await this.#ask(pieces);
    if (answer === null) return;
    this.#pieces = pieces;
    this.list.replaceChildren(...answer.pieces.map(({ piece, volume_l: litres }, place) => h("article", { class: "row" },
      h("div", { class: "row-words" }, h("strong", {}, t("volume.litres", { n: figure(litres) })), h("span", {}, piece)),
      h("button", { type: "button", class: "button", "data-action": "drop piece", "aria-label": t("volume.drop_it", { piece }), onclick: () => this.#become(pieces.filter((_, each) => each !== place)) }, t("volume.drop")))));
    const total = answer.volume_l;
    setText(this.sum, total === null ? "" : t("volume.together", { n: figure(total) }));
    this.cautions.replaceChildren(...(total === null ? [] : answer.cautions.map((text) => h("p", { class: "note" }, text))));
    show(this.use, total !== null);
    if (total !== null) setText(this.use, t("volume.take", { n: figure(total) }));
  }

  #use() {
    const filled = this.#pieces.every((piece) => piece.startsWith("water "));
    // Upwards: a cavity taken for smaller than it is would be called clear too soon.
    this.take(Math.ceil(this.#known.volume_l * 100 - 1e-6) / 100, filled ? "filled with water" : "worked out");
  }
}

const figure = (litres) => new Intl.NumberFormat(undefined, { maximumFractionDigits: 3 }).format(litres);
