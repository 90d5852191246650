// The next heat, planned backwards from its last pass: how hot the oven, how long, and what it takes.
import { act, NotDone, post, pressed } from "./deeds.js";
import { h, setText } from "./dom.js";
import { degrees, integer } from "./format.js";
import { openSheet, closeSheet, tiles } from "./sheet.js";
import { Fault, Stepper } from "./stepper.js";
import { Taught } from "./taught.js";
import { said } from "./units.js";
import { t, t2 } from "./words.js";

// The round figures save taps and recommend nothing; ranges are those the service accepts.
const MINUTES = { unit: "min", min: 0, max: 600, least: true, steps: [1, 0.5], rounds: [1, 2, 3, 5, 10] };
const CELSIUS = { unit: "°C", min: -50, max: 1200, least: true, steps: [25, 5], rounds: [150, 200, 250, 300] };
const FIELDS = {
  limits: [
    { name: "preheat_min_c", ...CELSIUS },
    { name: "interpass_max_c", ...CELSIUS, rounds: [250, 350, 400, 450] },
    { name: "oven_max_c", ...CELSIUS, rounds: [350, 450, 550, 650] },
  ],
  stages: [
    { name: "carry", ...MINUTES, value: 1 },
    { name: "fit_up", ...MINUTES, value: 3 },
    { name: "purge", ...MINUTES, value: 3 },
    { name: "passes", unit: "", min: 1, max: 12, least: true, steps: [2, 1], rounds: [1, 2, 3, 4], value: 1 },
    { name: "pass", ...MINUTES, value: 2 },
    { name: "pause", ...MINUTES, value: 1 },
  ],
  gas: [
    { name: "argon_flow_l_min", unit: "L/min", min: 0, max: 100, least: true, steps: [1, 0.5], rounds: [5, 8, 10, 15], value: 8 },
    { name: "torch_flow_l_min", unit: "L/min", min: 0, max: 100, least: true, steps: [1, 0.5], rounds: [6, 8, 10, 12] },
    { name: "arc_w", unit: "W", min: 0, max: 20_000, least: true, steps: [200, 50], rounds: [500, 800, 1200] },
    { name: "thickest_mm", unit: "mm", min: 0, max: 300, least: false, steps: [5, 1], rounds: [10, 15, 20, 30] },
  ],
};

export class View {
  #part = null;
  #covered = false;
  #filled = false;

  constructor(place, bench) {
    this.bench = bench;
    this.fields = {};
    this.forms = Object.fromEntries(Object.keys(FIELDS).map((group) => [group, h("div", { class: "steppers" })]));
    this.which = h("strong");
    const choose = h("button", { type: "button", class: "button choice", "data-action": "choose planned", onclick: () => this.#choosePart() }, h("span", {}, t("plan.part")), this.which);
    this.cover = h("button", { type: "button", class: "tile", "data-action": "cover fit-up", "aria-pressed": "false", onclick: () => this.#turnCover() }, h("strong", {}, t("plan.covered")), h("span", {}, t("plan.covered_more")));
    this.button = h("button", { type: "button", class: "button primary", "data-action": "plan", onclick: () => pressed(this.button, () => this.#ask()) }, t("plan.ask"));
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    this.answer = h("section", { class: "plan-answer", "aria-live": "polite", hidden: true });
    this.taught = new Taught((heat) => this.#tried(() => this.#repeat(heat)));
    place.replaceChildren(
      h("h1", {}, t("plan.title")), h("p", { class: "lead" }, t("plan.lead")), choose,
      ...Object.entries(this.forms).flatMap(([group, form]) => [h("h2", {}, t(`plan.${group}`)), form, group === "stages" ? h("div", { class: "tiles" }, this.cover) : null]).filter(Boolean),
      h("div", { class: "form-foot" }, this.fault, this.button), this.answer, this.taught.element);
  }

  show(bench) {
    this.#repeatAsked();
    if (this.#filled) return;
    this.#filled = true;
    this.#fill(bench.parts.find((part) => part.heat_id === null) ?? bench.parts[0] ?? null);
  }

  /** Limits and sizes of a part; what is not known of it stays open. */
  #fill(part) {
    this.#part = part;
    setText(this.which, part?.name ?? t("plan.no_part"));
    const known = { ...part?.limits, thickest_mm: part?.thickest_mm };
    for (const [group, fields] of Object.entries(FIELDS)) {
      this.fields[group] = fields.map((field) => new Stepper({ ...field, name: `plan_${field.name}`, text: t(`plan.${field.name}`), value: known[field.name] ?? field.value ?? null }));
      this.forms[group].replaceChildren(...this.fields[group].map((stepper) => stepper.element));
    }
    this.answer.hidden = true;
    this.taught.show(part);
  }

  /** #plan/repeat/7: a press on a record. */
  #repeatAsked() {
    const [, what, heat] = location.hash.split("/");
    if (what !== "repeat" || !/^\d+$/.test(heat ?? "")) return;
    history.replaceState(null, "", "#plan");
    this.#tried(() => this.#repeat(Number(heat)));
  }

  async #repeat(heat) {
    const { argon } = this.bench();
    const asked = { repeat_heat: heat, bottle_l: argon?.left_l ?? null };
    for (const name of ["oven_max_c", "torch_flow_l_min", "arc_w"]) {
      const value = this.fields[name === "oven_max_c" ? "limits" : "gas"]?.find((stepper) => stepper.element.dataset.field === `plan_${name}`)?.read() ?? null;
      if (value !== null) asked[name] = value;
    }
    this.#tell(await post("/api/v1/plan", asked), asked);
  }

  #choosePart() {
    const parts = this.bench().parts;
    const options = parts.map((part) => ({ value: part.id, text: part.name, more: t2("metal", part.metal), chosen: part.id === this.#part?.id }));
    openSheet(t("plan.part_title"), "planned", parts.length ? null : h("p", { class: "note" }, t("plan.no_parts")), tiles("planned part", options, (id) => {
      closeSheet();
      this.#fill(this.bench().parts.find((part) => part.id === id) ?? null);
    }));
  }

  #turnCover() {
    this.#covered = !this.#covered;
    this.cover.setAttribute("aria-pressed", String(this.#covered));
  }

  #read() {
    const values = {};
    for (const [group, fields] of Object.entries(FIELDS)) fields.forEach((field, i) => (values[field.name] = this.fields[group][i].read()));
    const stage = (kind, minutes, covered = false) => (minutes ? [{ kind, minutes, covered }] : []);
    const passes = Array.from({ length: Math.round(values.passes ?? 1) }, (_, i) => [...(i ? stage("pause", values.pause) : []), ...stage("pass", values.pass)]);
    const asked = {
      stages: [...stage("carry", values.carry), ...stage("fit-up", values.fit_up, this.#covered), ...stage("purge", values.purge), ...passes.flat()],
      metal: this.#part?.metal ?? "iron, unknown", mass_kg: this.#part?.mass_kg ?? null, area_m2: this.#part?.area_m2 ?? null,
      bottle_l: this.bench().argon?.left_l ?? null,
    };
    if (this.#part) asked.part_id = this.#part.id;
    for (const name of ["preheat_min_c", "interpass_max_c", "oven_max_c", "argon_flow_l_min", "torch_flow_l_min", "arc_w", "thickest_mm"]) if (values[name] !== null) asked[name] = values[name];
    return asked;
  }

  async #ask() {
    await this.#tried(async () => {
      const asked = this.#read();
      if (asked.preheat_min_c === undefined) throw new NotDone(t("plan.no_preheat"));
      this.#tell(await post("/api/v1/plan", asked), asked);
    });
  }

  async #tried(run) {
    this.fault.hidden = true;
    try {
      await run();
    } catch (error) {
      if (error instanceof Fault) return;
      if (!(error instanceof NotDone)) throw error;
      this.answer.hidden = true;
      this.fault.hidden = false;
      setText(this.fault, error.message);
    }
  }

  /** The heat begun as planned: what the oven is set to is kept with it. */
  #beginIt(plan) {
    const id = plan.repeats?.part_id ?? this.#part?.id;
    const part = this.bench().parts.find((each) => each.id === id && each.heat_id === null);
    if (!part || plan.set_point_c === null) return h("span", { hidden: true });
    const button = h("button", { type: "button", class: "button", "data-action": "begin planned", onclick: () => pressed(button, () => act({ kind: "begin heat", part_id: id, phase: "oven", oven_set_c: plan.set_point_c }, t("done.begin heat", { part: part.name }))) }, t("plan.begin", { c: degrees(plan.set_point_c) }));
    return button;
  }

  #tell(plan, asked) {
    const set = plan.set_point_c === null ? t("plan.none") : t("plan.set", { c: degrees(plan.set_point_c) });
    const line = (text) => h("p", {}, said(text));
    const span = ({ p05, p50, p95 }) => t("plan.span", { c: degrees(p50), low: degrees(p05), high: degrees(p95) });
    const row = (at, what, spread) => h("tr", {}, h("td", {}, at), h("th", { scope: "row" }, what), h("td", {}, span(spread)));
    const rows = plan.stages.map((stage) => row(t("time.min", { n: integer(stage.begins_min) }), t2("plan.kind", stage.kind), stage.temperature_c));
    const unknown = asked.mass_kg === null || asked.area_m2 === null ? h("p", { class: "note" }, t("plan.rough")) : null;
    const again = plan.repeats === null ? null : h("p", {}, t(plan.repeats.setting_said ? "plan.repeats" : "plan.repeats_door", { n: plan.repeats.heat_id, c: degrees(plan.repeats.set_point_c) }));
    this.answer.replaceChildren(
      h("p", { class: "plan-set", "data-plan": plan.set_point_c === null ? "none" : "set" }, set),
      ...(plan.set_point_c === null ? [] : plan.words.lead.map(line)), ...[again, unknown].filter(Boolean),
      h("table", { class: "plan-stages" }, h("caption", {}, t("plan.table")), h("tbody", {}, ...rows, row("", t("plan.end"), plan.end_c))),
      ...plan.words.gas.map(line), ...plan.words.reasons.map(line),
      this.#beginIt(plan), h("p", { class: "note" }, plan.words.caution));
    this.answer.hidden = false;
    this.answer.scrollIntoView({ block: "nearest" });
  }
}
