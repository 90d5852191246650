// What came of a heat: read in its record, said and said anew by taps; nobody is made to.
import { act, pressed } from "./deeds.js";
import { h, setAttribute, setText, show } from "./dom.js";
import { integer } from "./format.js";
import { closeSheet, openSheet } from "./sheet.js";
import { t, t2 } from "./words.js";

export const CRACKED = ["none seen", "seen cold", "seen by dye", "seen in service"];
export const ROOT = ["bright", "tinted", "dull grey", "crusted"];
const PENETRATION = ["all round", "in places", "none", "too much"];
const STEPS = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10];
const LARGEST_MM = 10_000;

/** One saying as a few words; what was not said is left out. */
export function outcomeWords(said) {
  const words = [
    said.cracked && t2("outcome.cracked", said.cracked), said.root && t("outcome.root_is", { how: t2("outcome.root", said.root) }),
    said.penetration && t2("outcome.penetration", said.penetration), said.oxygen_colour && t("outcome.colour_is", { n: said.oxygen_colour }),
    ...said.dimensions.map(measured), said.text,
  ];
  return words.filter(Boolean).join("; ") || t("outcome.taken_back");
}

function measured({ name, before_mm: before, after_mm: after }) {
  const said = [before !== null && t("outcome.before", { mm: before }), after !== null && t("outcome.after", { mm: after })];
  return `${name} ${said.filter(Boolean).join(", ")}`;
}

/** A word for the list: what came of it, or that nobody has said yet. */
export function listed(heat) {
  if (heat.outcome) return outcomeWords(heat.outcome);
  return heat.ended_at && heat.outcome === null ? t("outcome.not_said") : null;
}

/** The part of a heat's record; ``again`` opens the record anew after something was said. */
export function outcomeParts(record, ask, at, again) {
  const sayings = [...record.outcomes].reverse();
  const lines = sayings.map((said, place) => h("li", { "data-holds": String(place === 0) },
    place === 0 ? h("strong", {}, outcomeWords(said)) : outcomeWords(said),
    " ", h("span", { class: "note" }, t(place === 0 ? "outcome.holds" : "outcome.earlier", { at: at(said.at), by: said.by ?? t("outcome.somebody") }))));
  const words = t(sayings.length ? "outcome.revise" : "outcome.say");
  const say = h("button", { type: "button", class: sayings.length || !record.ended_at ? "button" : "button primary", "data-action": "say outcome", onclick: () => new OutcomeSheet(record, ask, again).open() }, words);
  return [h("h3", {}, t("outcome.title")), lines.length ? h("ul", { class: "record-lines outcome-lines" }, ...lines) : h("p", {}, t(record.ended_at ? "outcome.nothing" : "outcome.running")), say, h("p", { class: "note" }, t("outcome.note"))];
}

class OutcomeSheet {
  constructor(record, ask, again) {
    Object.assign(this, { record, ask, again });
    const last = record.outcomes.at(-1);
    this.said = { cracked: last?.cracked ?? null, root: last?.root ?? null, penetration: last?.penetration ?? null, oxygen_colour: last?.oxygen_colour ?? null, root_photo: last?.root_photo ?? null };
    this.measures = (last?.dimensions ?? []).map((each) => new Measure(each));
    this.text = h("textarea", { id: "outcome-text", maxlength: "500", rows: "3" });
    this.text.value = last?.text ?? "";
    this.by = h("input", { id: "outcome-by", maxlength: "80", autocomplete: "off" });
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
  }

  open() {
    const { record } = this;
    this.colour = h("section", {}, h("p", { class: "note" }, t("outcome.asking")));
    this.rows = h("div", { class: "measures" }, ...this.measures.map((each) => each.element));
    const more = h("button", { type: "button", class: "button", "data-action": "add measure", onclick: () => this.#measure() }, t("outcome.add_measure"));
    const save = h("button", { type: "button", class: "button primary", "data-action": "save outcome", onclick: () => pressed(save, () => this.#save()) }, t("outcome.save"));
    const photos = record.photos.filter((each) => each.of === "root");
    openSheet(t("outcome.of", { n: record.heat_id, part: record.part }), "outcome",
      h("p", { class: "note" }, t("outcome.skip")),
      ...this.#choice("cracked", CRACKED), ...this.#choice("root", ROOT),
      ...(photos.length ? this.#photo(photos) : [h("p", { class: "note" }, t("outcome.no_root_photo"))]),
      ...this.#choice("penetration", PENETRATION),
      h("h3", {}, t("outcome.title_colour")), this.colour,
      h("h3", {}, t("outcome.measures")), this.rows, more,
      h("div", { class: "entry" }, h("label", { class: "field", for: "outcome-text" }, t("outcome.text")), this.text),
      h("div", { class: "entry" }, h("label", { class: "field", for: "outcome-by" }, t("outcome.by")), this.by),
      this.fault, save, h("p", { class: "note" }, t("outcome.note")));
    this.#askColour();
  }

  /** Tiles of which one is pressed or none: a second tap takes it back. */
  #tiles(name, options, small) {
    const made = options.map(({ value, text, more }) => h("button", { type: "button", class: "tile", "data-action": `outcome ${name}`, "data-value": String(value), "aria-pressed": String(this.said[name] === value), onclick: () => {
      this.said[name] = this.said[name] === value ? null : value;
      for (const tile of made) setAttribute(tile, "aria-pressed", tile.dataset.value === String(this.said[name]));
    } }, h("strong", {}, text), more ? h("span", {}, more) : null));
    return h("div", { class: small ? "tiles small" : "tiles", role: "group", "aria-label": t(`outcome.title_${name}`) }, ...made);
  }

  #choice(name, values) {
    const options = values.map((value) => ({ value, text: t2(`outcome.${name}`, value), more: t2(`outcome.${name}_more`, value) }));
    return [h("h3", {}, t(`outcome.title_${name}`)), this.#tiles(name, options, false)];
  }

  #photo(photos) {
    const options = photos.map((each, place) => ({ value: each.sha256, text: t("outcome.photo", { n: place + 1 }), more: each.caption }));
    return [h("h4", {}, t("outcome.title_root_photo")), this.#tiles("root_photo", options, true)];
  }

  async #askColour() {
    const answer = await this.ask(`/api/v1/heats/${this.record.heat_id}/colour`);
    if (!answer) return;
    if (answer.refused !== null) {
      this.said.oxygen_colour = null;
      this.colour.replaceChildren(h("p", { "data-refused": "colour" }, answer.refused));
      return;
    }
    const options = STEPS.map((step) => ({ value: step, text: String(step), more: t("outcome.sample", { ppm: integer(answer.sample_ppm[step - 1]) }) }));
    this.colour.replaceChildren(h("p", { class: "note" }, t("outcome.colour_note")), this.#tiles("oxygen_colour", options, true));
  }

  #measure() {
    const made = new Measure(null);
    this.measures.push(made);
    this.rows.append(made.element);
    made.name.focus();
  }

  async #save() {
    const measures = this.measures.map((each) => each.read()).filter((each) => each !== null);
    const wrong = measures.find((each) => typeof each === "string");
    show(this.fault, Boolean(wrong));
    if (wrong) {
      setText(this.fault, wrong);
      this.fault.scrollIntoView({ block: "center" });
      return;
    }
    const text = this.text.value.trim() || null;
    const action = { kind: "say outcome", heat_id: this.record.heat_id, ...this.said, dimensions: measures, text, by: this.by.value.trim() || null };
    if (!(await act(action, t("outcome.saved", { n: this.record.heat_id })))) return;
    closeSheet();
    this.again();
  }
}

/** One dimension: its name, before and after [mm]. */
class Measure {
  static #made = 0;

  constructor(known) {
    const id = `measure-${(Measure.#made += 1)}`;
    const field = (what, more) => {
      const input = h("input", { id: `${id}-${what}`, autocomplete: "off", ...more });
      return [h("div", {}, h("label", { class: "field", for: input.id }, t(`outcome.measure_${what}`)), input), input];
    };
    const number = { inputmode: "decimal" };
    const [name, before, after] = [field("name", { maxlength: "80" }), field("before", number), field("after", number)];
    [this.name, this.before, this.after] = [name[1], before[1], after[1]];
    this.name.value = known?.name ?? "";
    this.before.value = known?.before_mm ?? "";
    this.after.value = known?.after_mm ?? "";
    this.element = h("div", { class: "measure" }, name[0], before[0], after[0]);
  }

  /** What stands there; null for an empty row; a sentence for what is wrong. */
  read() {
    const name = this.name.value.trim();
    const [before, after] = [this.before, this.after].map((input) => input.value.trim().replace(",", "."));
    if (!name && !before && !after) return null;
    const numbers = [before, after].map((text) => (text === "" ? null : Number(text)));
    const bad = [before, after].find((_, i) => numbers[i] !== null && !(numbers[i] > 0 && numbers[i] <= LARGEST_MM));
    if (!name) return t("outcome.no_name", { mm: before || after });
    if (bad !== undefined) return t("outcome.bad_measure", { name, value: bad });
    if (numbers.every((each) => each === null)) return t("outcome.no_measure", { name });
    return { name, before_mm: numbers[0], after_mm: numbers[1] };
  }
}

