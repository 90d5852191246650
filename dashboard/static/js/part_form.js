// One form for a part: its name and metal, the limits to weld it by, its sizes and its sensors.
import { NotDone, pressed, send, token } from "./deeds.js";
import { h, setAttribute, setText } from "./dom.js";
import { degrees, reading } from "./format.js";
import { MetalGuide } from "./metal_guide.js";
import { closeSheet, openSheet, tiles } from "./sheet.js";
import { Fault, Stepper } from "./stepper.js";
import { toast } from "./toasts.js";
import { t, t2 } from "./words.js";

export const METALS = ["iron, unknown", "grey iron", "ductile iron", "compacted graphite iron", "malleable iron", "high-silicon-molybdenum ductile iron", "austenitic iron", "cast austenitic stainless", "heat-resistant stainless, high carbon", "heat-resistant stainless, ferritic", "carbon steel"];
const SUGGESTIONS = 3;

// The round figures save taps and recommend nothing; ranges are those the service accepts.
export const LIMITS = [
  { name: "preheat_min_c", unit: "°C", min: -50, max: 1400, least: true, steps: [25, 5], rounds: [100, 150, 200, 250, 300] },
  { name: "interpass_max_c", unit: "°C", min: -50, max: 1400, least: true, steps: [25, 5], rounds: [150, 250, 300, 350, 400] },
  { name: "cooling_max_c_per_h", unit: "°C/h", min: 0, max: 5000, least: false, steps: [25, 5], rounds: [25, 50, 100, 200] },
  { name: "oxygen_max_ppm", unit: "ppm", min: 0, max: 209_000, least: false, steps: [50, 5], rounds: [20, 50, 100, 500, 1000] },
  { name: "carry_max_s", unit: "s", min: 10, max: 3600, least: true, steps: [60, 10], rounds: [60, 120, 300, 600] },
  { name: "tube_preheat_min_c", unit: "°C", min: -50, max: 1400, least: true, steps: [25, 5], rounds: [20, 50, 100] },
  { name: "tube_interpass_max_c", unit: "°C", min: -50, max: 1400, least: true, steps: [25, 5], rounds: [100, 150, 175, 250] },
  { name: "gas_off_below_c", unit: "°C", min: -50, max: 1400, least: true, steps: [25, 5], rounds: [100, 200, 250] },
];
const SIZES = [
  { name: "mass_kg", unit: "kg", min: 0, max: 2000, least: false, steps: [1, 0.1], rounds: [3, 6, 10, 20] },
  { name: "area_m2", unit: "m²", min: 0, max: 50, least: false, steps: [0.05, 0.01], rounds: [0.1, 0.15, 0.25, 0.5] },
  { name: "cavity_volume_l", unit: "L", min: 0, max: 1000, least: false, steps: [0.5, 0.1], rounds: [1, 2, 3, 5] },
  { name: "hose_volume_l", unit: "L", min: 0, max: 100, least: true, steps: [0.1, 0.05], rounds: [0.1, 0.2, 0.3, 0.5] },
  { name: "joint_wall_mm", unit: "mm", min: 0, max: 300, least: false, steps: [1, 0.5], rounds: [2, 3, 6, 10] },
  { name: "thickest_mm", unit: "mm", min: 0, max: 300, least: false, steps: [5, 1], rounds: [10, 15, 20, 30] },
];
// What is said in words, and what is one of a few.
const TEXTS = ["joining_metal", "filler"];
const CHOICES = { method: ["hot", "cold"], size_known: ["weighed and measured", "by eye", "like another part"], cavity_known: ["filled with water", "worked out", "by eye"] };

/** Open the form for the part with this id, or for a new one. */
export function openPartForm(id, bench) {
  if (!bench) return;
  const part = bench.parts.find((candidate) => candidate.id === id) ?? null;
  const form = new PartForm(part, bench);
  openSheet(part ? t("parts.form_edit", { part: part.name }) : t("parts.form_new"), "part", form.element);
}

class PartForm {
  #partId;
  #createToken = token();

  constructor(part, bench) {
    this.part = part;
    this.#partId = part?.id ?? null;
    this.name = h("input", { id: "field-name", type: "text", maxlength: "80", autocomplete: "off", value: part?.name ?? freeName(bench, 1) });
    this.metal = part?.metal ?? METALS[0];
    const make = (values) => (field) => new Stepper({ ...field, text: t(`parts.${field.name}`), value: values?.[field.name] ?? null });
    this.limits = LIMITS.map(make(part?.limits));
    this.sizes = SIZES.map(make(part));
    this.texts = Object.fromEntries(TEXTS.map((name) => [name, h("input", { id: `field-${name}`, type: "text", maxlength: "80", autocomplete: "off", value: part?.[name] ?? "" })]));
    this.choices = Object.fromEntries(Object.keys(CHOICES).map((name) => [name, part?.[name] ?? null]));
    this.guide = new MetalGuide((limits) => this.#take(limits));
    this.guide.show(this.metal, this.choices.method);
    this.sensors = new Map(bench.channels.filter((c) => c.kind !== null && c.kind !== "room oxygen").map((c) => [c.name, { channel: c, was: part !== null && c.part_id === part.id }]));
    for (const sensor of this.sensors.values()) sensor.on = sensor.was;
    this.by = h("input", { id: "field-by", type: "text", maxlength: "80", autocomplete: "name" });
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    this.save = h("button", { type: "button", class: "button primary", "data-action": "save part", onclick: () => pressed(this.save, () => this.#save()) }, t("parts.save"));
    this.element = h("div", { class: "form", "data-part-id": part?.id ?? "new" },
      ...this.#named(bench),
      h("h3", {}, t("parts.limits")), h("p", { class: "note" }, t("parts.limits_note")),
      h("div", { class: "steppers" }, ...this.limits.map((s) => s.element)),
      ...this.#fitted(bench),
      ...this.#metals(),
      h("h3", {}, t("parts.size")), h("p", { class: "note" }, t("parts.size_note")),
      ...this.#like(bench),
      h("div", { class: "steppers" }, ...this.sizes.map((s) => s.element)),
      ...this.#choice("size_known"), ...this.#choice("cavity_known"), ...this.#pieces(),
      ...(part ? [h("label", { class: "field", for: "field-by" }, t("parts.by")), this.by] : []),
      h("div", { class: "form-foot" }, this.fault, h("button", { type: "button", class: "button", "data-action": "cancel", onclick: closeSheet }, t("parts.cancel")), this.save));
  }

  #named(bench) {
    const suggest = this.part ? [] : Array.from({ length: SUGGESTIONS }, (_, i) => freeName(bench, i + 1)).map((name) =>
      h("button", { type: "button", class: "chip", "data-action": "suggest name", onclick: () => { this.name.value = name; } }, name));
    return [h("label", { class: "field", for: "field-name" }, t("parts.name")), this.name, suggest.length ? h("div", { class: "chips" }, ...suggest) : ""];
  }

  #metals() {
    const options = METALS.map((metal) => ({ value: metal, text: t2("metal", metal), chosen: metal === this.metal }));
    const metals = tiles("metal", options, (value, tile) => {
      this.metal = value;
      for (const other of tile.parentElement.children) setAttribute(other, "aria-pressed", other === tile);
      this.guide.show(this.metal, this.choices.method);
    });
    metals.classList.add("small");
    const texts = TEXTS.flatMap((name) => [h("label", { class: "field", for: `field-${name}` }, t(`parts.${name}`)), this.texts[name]]);
    return [h("h3", {}, t("parts.metal")), metals, ...this.#choice("method", (method) => this.guide.show(this.metal, method)), this.guide.element, ...texts];
  }

  /** One of a few, or not said: a second tap takes it back. */
  #choice(name, then = () => {}) {
    const options = CHOICES[name].map((value) => ({ value, text: t2(`parts.${name}`, value), chosen: value === this.choices[name] }));
    const list = tiles(`choose ${name}`, options, (value, tile) => {
      this.choices[name] = this.choices[name] === value ? null : value;
      for (const other of tile.parentElement.children) setAttribute(other, "aria-pressed", other === tile && this.choices[name] !== null);
      then(this.choices[name]);
    });
    list.classList.add("small");
    list.setAttribute("data-field", name);
    return [h("h4", {}, t(`parts.${name}_title`)), list];
  }

  /** Mass and surface of a part that is like this one. */
  #like(bench) {
    const others = bench.parts.filter((p) => p.id !== this.#partId && (p.mass_kg !== null || p.area_m2 !== null));
    if (others.length === 0) return [];
    const chips = others.map((p) => h("button", { type: "button", class: "chip", "data-action": "like part", "data-value": String(p.id), onclick: () => this.#takeSize(p) }, t("parts.like", { part: p.name })));
    return [h("div", { class: "chips" }, ...chips)];
  }

  #takeSize(other) {
    for (const stepper of this.sizes) if (["mass_kg", "area_m2"].includes(stepper.o.name)) stepper.put(other[stepper.o.name]);
    const tile = this.element.querySelector("[data-action='choose size_known'][data-value='like another part']");
    if (this.choices.size_known !== "like another part") tile.click();
  }

  /** What the cavity holds, put together from what can be measured; fetched when it is wanted. */
  #pieces() {
    const place = h("div", {});
    const open = h("button", { type: "button", class: "button", "data-action": "work out volume", onclick: () => pressed(open, async () => {
      const { Pieces } = await import("./volume.js");
      place.replaceChildren(new Pieces((litres, how) => this.#takeVolume(litres, how)).element);
      open.remove();
    }) }, t("volume.open"));
    return [open, place];
  }

  #takeVolume(litres, how) {
    this.sizes.find((stepper) => stepper.o.name === "cavity_volume_l").put(litres);
    if (this.choices.cavity_known !== how) this.element.querySelector(`[data-action='choose cavity_known'][data-value='${how}']`).click();
    toast(t("volume.taken"));
  }

  #take(limits) {
    for (const stepper of this.limits) {
      const value = limits[stepper.o.name] ?? null;
      if (value !== null) stepper.put(value);
    }
    toast(t("metal_guide.taken"));
  }

  #fitted(bench) {
    if (this.sensors.size === 0) return [];
    const options = [...this.sensors.values()].map(({ channel, on }) => {
      const other = bench.parts.find((p) => p.id === channel.part_id && p.id !== this.#partId);
      const now = reading(channel.value, channel.unit);
      return {
        value: channel.name, text: channel.name, chosen: on,
        more: [t2("kind", channel.kind), now ? `${now.number} ${now.unit}`.trim() : t("sensors.value_none")].join(" · "),
        hint: other ? t("parts.sensor_taken", { part: other.name }) : null,
      };
    });
    const list = tiles("toggle sensor", options, (name, tile) => {
      const sensor = this.sensors.get(name);
      sensor.on = !sensor.on;
      setAttribute(tile, "aria-pressed", sensor.on);
    });
    return [h("h3", {}, t("parts.sensors")), h("p", { class: "note" }, t("parts.sensors_note")), list];
  }

  async #save() {
    this.#say(null);
    try {
      const wanted = this.#read();
      setText(this.save, t("parts.saving"));
      await this.#send(wanted);
      closeSheet();
      toast(t("done.saved", { part: wanted.facts.name }));
    } catch (error) {
      if (!(error instanceof Fault || error instanceof NotDone)) throw error;
      this.#say(error.message);
    } finally {
      setText(this.save, t("parts.save"));
    }
  }

  #read() {
    const name = this.name.value.trim();
    if (!name) {
      this.name.focus();
      throw new Fault(t("parts.name_missing"));
    }
    const read = (steppers) => Object.fromEntries(steppers.map((s) => [s.o.name, s.read()]));
    // Who governs is said apart from this form; saving it must not take that back.
    const limits = { ...read(this.limits), governing_side: this.part?.limits.governing_side ?? null };
    const { preheat_min_c: low, interpass_max_c: high } = limits;
    if (low !== null && high !== null && high <= low) throw new Fault(t("parts.order", { low: degrees(low), high: degrees(high) }));
    const sizes = read(this.sizes);
    const words = Object.fromEntries(TEXTS.map((field) => [field, this.texts[field].value.trim() || null]));
    return { facts: { name, metal: this.metal, ...words, ...this.choices, ...sizes, hose_volume_l: sizes.hose_volume_l ?? 0 }, limits };
  }

  async #send({ facts, limits }) {
    const { part } = this;
    if (this.#partId === null) {
      // The token stays the same when a lost answer makes the person tap again: one part only.
      const made = await send({ kind: "create part", facts, limits, token: this.#createToken });
      this.#partId = made.part_id;
    } else if (part) {
      const same = (a, b) => Object.keys(b).every((key) => (a[key] ?? null) === b[key]);
      const by = this.by.value.trim() || null;
      if (!same(part, facts)) await send({ kind: "change part", part_id: part.id, facts, by });
      if (!same(part.limits, limits)) await send({ kind: "set limits", part_id: part.id, limits, by });
    }
    for (const sensor of this.sensors.values()) {
      if (sensor.on === sensor.was) continue;
      await send({ kind: "assign channel", channel: sensor.channel.name, part_id: sensor.on ? this.#partId : null });
      sensor.was = sensor.on;
    }
  }

  #say(text) {
    this.fault.hidden = text === null;
    setText(this.fault, text ?? "");
    if (text) this.fault.scrollIntoView({ block: "nearest" });
  }
}

/** The n-th name of the form "Casting 1" that no part has yet. */
function freeName(bench, n) {
  const taken = new Set(bench.parts.map((part) => part.name));
  for (let i = 1; ; i += 1) {
    const name = t("parts.name_suggest", { n: i });
    if (!taken.has(name) && (n -= 1) === 0) return name;
  }
}
