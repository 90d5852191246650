// Procedures: the list in Setup, the form that writes a version, the choice for a part, the steps of a heat.
import { act, NotDone, pressed, send, token } from "./deeds.js";
import { h, setAttribute, setText, show } from "./dom.js";
import { timeOfDay } from "./format.js";
import { limitWords } from "./limits.js";
import { MetalGuide } from "./metal_guide.js";
import { LIMITS, METALS } from "./part_form.js";
import { closeSheet, openSheet, tiles } from "./sheet.js";
import { Fault, Stepper } from "./stepper.js";
import { count, t, t2 } from "./words.js";

const TIMEOUT_MS = 4000;
const MINUTES = { unit: "min", min: 0, max: 600, least: true, steps: [5, 1], rounds: [1, 2, 3, 5, 10] };
// The round figures save taps and recommend nothing; ranges are those the service accepts.
const MORE = [
  { name: "soak_min", ...MINUTES, rounds: [15, 30, 60, 120] },
  { name: "heating_max_c_per_h", unit: "°C/h", min: 0, max: 5000, least: false, steps: [25, 5], rounds: [50, 100, 200] },
  { name: "gradient_max_k", unit: "K", min: 0, max: 1000, least: false, steps: [10, 1], rounds: [30, 50, 80] },
  { name: "carry_min", ...MINUTES }, { name: "fit_up_min", ...MINUTES }, { name: "brush_min", ...MINUTES }, { name: "pass_min", ...MINUTES },
];

async function ask() {
  try {
    const answer = await fetch("/api/v1/procedures", { signal: AbortSignal.timeout(TIMEOUT_MS) });
    return answer.ok ? (await answer.json()).procedures : null;
  } catch {
    return null; // said where it is shown
  }
}

export class Procedures {
  constructor() {
    this.rows = h("div", { class: "rows" });
    this.none = h("div", { class: "empty", hidden: true });
    const make = h("button", { type: "button", class: "button primary", "data-action": "new procedure", onclick: () => this.#open(null) }, t("procedures.new"));
    this.element = h("section", { id: "procedures" }, h("h2", {}, t("procedures.title")), h("p", { class: "lead" }, t("procedures.lead")), this.none, this.rows, make);
    this.again();
  }

  async again() {
    const found = await ask();
    show(this.none, !found?.length);
    this.none.replaceChildren(...(found === null ? [h("p", {}, t("procedures.no_answer"))] : [h("h3", {}, t("procedures.none")), h("p", {}, t("procedures.none_more"))]));
    this.rows.replaceChildren(...(found ?? []).map((each) => this.#row(each)));
  }

  #row(procedure) {
    const [newest] = procedure.versions;
    const change = h("button", { type: "button", class: "button", "data-action": "edit procedure", onclick: () => this.#open(procedure) }, t("procedures.change"));
    const version = (each) => h("li", {}, t("procedures.version", { n: each.version, time: new Date(each.written_at).toLocaleString(), by: each.by ?? t("procedures.nobody"), heats: each.heats }), " ", limitWords(each.facts.limits));
    return h("article", { class: "row", "data-procedure": String(procedure.id) },
      h("div", { class: "row-words" }, h("strong", {}, procedure.name), h("span", {}, limitWords(newest.facts.limits)), h("span", {}, count("procedures.steps_count", newest.facts.steps.length)),
        h("details", { class: "check" }, h("summary", {}, count("procedures.versions", procedure.versions.length)), h("ul", {}, ...procedure.versions.map(version)))),
      h("div", { class: "row-deeds" }, change));
  }

  #open(procedure) {
    const form = new Form(procedure, () => this.again());
    openSheet(procedure ? t("procedures.form_edit", { name: procedure.name }) : t("procedures.new"), "procedure", form.element);
  }
}

class Form {
  #token = token();

  constructor(procedure, done) {
    Object.assign(this, { procedure, done });
    const facts = (this.facts = procedure?.versions[0].facts ?? { limits: {}, steps: [], cautions: [], times: {}, sources: {} });
    this.sources = { ...facts.sources };
    const values = { ...facts.times, soak_min: facts.soak?.minutes, heating_max_c_per_h: facts.heating?.[0]?.max_c_per_h, gradient_max_k: facts.gradient_max_k, pass_min: facts.times.passes_min?.[0] };
    this.name = h("input", { id: "field-procedure", type: "text", maxlength: "80", autocomplete: "off", value: procedure?.name ?? "" });
    this.limits = LIMITS.map((field) => new Stepper({ ...field, name: `procedure_${field.name}`, text: t(`parts.${field.name}`), value: facts.limits[field.name] ?? null }));
    this.more = MORE.map((field) => new Stepper({ ...field, name: `procedure_${field.name}`, text: t(`procedures.${field.name}`), value: values[field.name] ?? null }));
    this.notes = Object.fromEntries(LIMITS.map(({ name }) => [name, h("p", { class: "note", "data-source": name })]));
    this.lines = Object.fromEntries(["steps", "cautions"].map((name) => [name, h("textarea", { id: `field-${name}`, rows: "5", autocomplete: "off" }, facts[name].join("\n"))]));
    this.by = h("input", { id: "field-procedure-by", type: "text", maxlength: "80", autocomplete: "name" });
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    this.guide = new MetalGuide((limits, row) => this.#take(limits, row));
    this.guide.show(METALS[0], null);
    const metals = tiles("usual metal", METALS.map((metal) => ({ value: metal, text: t2("metal", metal), chosen: metal === METALS[0] })), (metal, tile) => {
      for (const other of tile.parentElement.children) setAttribute(other, "aria-pressed", other === tile);
      this.guide.show(metal, null);
    });
    metals.classList.add("small");
    this.save = h("button", { type: "button", class: "button primary", "data-action": "save procedure", onclick: () => pressed(this.save, () => this.#save()) }, t("procedures.save"));
    const label = (id, text) => h("label", { class: "field", for: id }, text);
    this.element = h("div", { class: "form" },
      label("field-procedure", t("procedures.name")), this.name,
      h("h3", {}, t("parts.limits")), h("p", { class: "note" }, t("parts.limits_note")),
      ...this.limits.flatMap((stepper, i) => [stepper.element, this.notes[LIMITS[i].name]]),
      h("h3", {}, t("procedures.usual")), metals, this.guide.element,
      h("h3", {}, t("procedures.more")), h("div", { class: "steppers" }, ...this.more.map((stepper) => stepper.element)),
      h("h3", {}, t("procedures.steps")), label("field-steps", t("procedures.steps_note")), this.lines.steps,
      label("field-cautions", t("procedures.cautions")), this.lines.cautions,
      label("field-procedure-by", t("parts.by")), this.by,
      h("div", { class: "form-foot" }, this.fault, this.save));
    this.#tell();
  }

  #tell() {
    for (const [name, note] of Object.entries(this.notes)) {
      const source = this.sources[`limits.${name}`];
      show(note, Boolean(source));
      setText(note, source ? t("procedures.source", { source: source.source, known: t2("procedures.known", source.known) }) : "");
    }
  }

  /** Usual figures come with where they come from; only when asked for. */
  #take(limits, row) {
    LIMITS.forEach(({ name }, i) => {
      const value = limits[name] ?? null;
      if (value === null) return;
      this.limits[i].put(value);
      this.sources[`limits.${name}`] = { source: row.source.slice(0, 300), known: row.known, value };
    });
    this.#tell();
  }

  #read() {
    const name = this.name.value.trim();
    if (!name) throw new Fault(t("procedures.name_missing"));
    const read = (steppers, fields) => Object.fromEntries(fields.map((field, i) => [field.name, steppers[i].read()]));
    const limits = { ...read(this.limits, LIMITS), governing_side: this.facts.limits.governing_side ?? null };
    const { soak_min: soak, heating_max_c_per_h: heating, gradient_max_k: gradient, pass_min: pass, ...times } = read(this.more, MORE);
    const lines = (field) => field.value.split("\n").map((line) => line.trim()).filter(Boolean);
    // A figure that somebody has changed is the shop's own: the source said of another one.
    const sources = {};
    for (const [field, { source, known, value }] of Object.entries(this.sources)) {
      const key = field.replace("limits.", "");
      const was = value ?? this.facts.limits[key];
      if (field.startsWith("limits.") && limits[key] !== null && Math.abs(limits[key] - was) < 0.06) sources[field] = { source, known };
    }
    // What this form does not show of an earlier version stays as it was.
    const { facts } = this;
    const passes = pass === (facts.times.passes_min?.[0] ?? null) ? (facts.times.passes_min ?? []) : pass === null ? [] : [pass];
    const first = facts.heating?.[0];
    const written = {
      name, limits, sources, gradient_max_k: gradient, steps: lines(this.lines.steps), cautions: lines(this.lines.cautions), times: { ...times, passes_min: passes },
      soak: soak === null ? (facts.soak?.minutes === null ? facts.soak : null) : { ...facts.soak, minutes: soak, min_per_25_mm: null },
      heating: [...(heating === null ? [] : [{ ...first, max_c_per_h: heating }]), ...(facts.heating?.slice(1) ?? [])],
      cooling: facts.cooling ?? [], positions: facts.positions ?? [],
    };
    const at = (from, field) => JSON.stringify(field.split(".").reduce((value, key) => value?.[key], from) ?? null);
    for (const [field, said] of Object.entries(facts.sources)) if (!field.startsWith("limits.") && at(facts, field) === at(written, field)) sources[field] = said;
    return written;
  }

  async #save() {
    this.fault.hidden = true;
    try {
      const { procedure } = this;
      await send({ kind: "write procedure", procedure_id: procedure?.id ?? 0, after_version: procedure?.versions[0].version ?? 0, facts: this.#read(), by: this.by.value.trim() || null, token: this.#token });
      closeSheet();
      this.done();
    } catch (error) {
      if (!(error instanceof Fault || error instanceof NotDone)) throw error;
      this.fault.hidden = false;
      setText(this.fault, error.message);
    }
  }
}

/** Which procedure a part goes by; its limits become that version's. */
export async function openChoice(part) {
  const found = (await ask()) ?? [];
  const options = found.map(({ id, name, versions: [newest] }) => ({ value: id, text: `${name} · ${newest.version}`, more: limitWords(newest.facts.limits), chosen: part.procedure?.id === id && part.procedure.version === newest.version }));
  if (part.procedure) options.push({ value: "none", text: t("procedures.go_without"), more: t("procedures.go_without_more") });
  const use = async (id) => {
    const version = found.find((each) => each.id === id)?.versions[0].version ?? null;
    const set = version === null ? {} : { procedure_id: id, version };
    if (await act({ kind: "use procedure", part_id: part.id, ...set }, t("procedures.used", { part: part.name }))) closeSheet();
  };
  openSheet(t("procedures.choose", { part: part.name }), "choose procedure", h("p", { class: "note" }, t(found.length ? "procedures.choose_note" : "procedures.none_more")), tiles("use procedure", options, use));
}

/** The steps of a running heat, to be ticked. */
export function openSteps(part) {
  const { heat_id: heat, procedure } = part;
  const more = (step) => (step.ticked_at ? t("procedures.ticked", { time: timeOfDay(Date.parse(step.ticked_at)), by: step.by ?? "" }) : t("procedures.open"));
  const options = procedure.steps.map((step) => ({ value: step.number, text: `${step.number}. ${step.text}`, more: more(step), chosen: step.ticked_at !== null }));
  const list = tiles("tick step", options, (number, tile) => pressed(tile, async () => {
    const done = tile.getAttribute("aria-pressed") === "true";
    if (!(await act({ kind: done ? "take back tick" : "tick step", heat_id: heat, number }, ""))) return;
    setAttribute(tile, "aria-pressed", !done);
    setText(tile.querySelector("span"), t(done ? "procedures.open" : "procedures.ticked_now"));
  }));
  openSheet(t("procedures.steps_of", { part: part.name, name: procedure.name, n: procedure.version }), "steps", ...procedure.cautions.map((text) => h("p", { class: "note" }, text)), list);
}
