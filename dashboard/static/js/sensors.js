// Everything that is heard: value, age, quality, what it measures and the part it sits on.
import { Bottle } from "./bottle.js";
import { canCalibrate, openCalibration } from "./calibration.js";
import { act } from "./deeds.js";
import { h, keyed, setAttribute, setText, show } from "./dom.js";
import { degrees, duration, integer, NONE, reading } from "./format.js";
import { Ports } from "./ports.js";
import { errorWords, openProbeError } from "./probe_error.js";
import { closeSheet, openSheet, tiles } from "./sheet.js";
import { t, t2 } from "./words.js";

const KINDS = ["thermocouple", "cold junction", "ambient", "gas flow", "oxygen", "room oxygen", "torch flow", "bottle pressure", "arc", "button"];

/** These sit on no part. */
const OF_THE_SHOP = ["room oxygen", "torch flow"];

/** Distances from the groove's edge that are offered [mm]; 50 and 75 are the usual ones for measuring preheat. */
const FROM_JOINT_MM = [10, 25, 50, 75, 150, 300];

/** Letter types of ITS-90, the usual ones first. */
const LETTERS = ["K", "N", "J", "T", "E", "R", "S", "B"];

const LINKS_EVERY_MS = 2000;
const NODES_SHOWN = 12;

export class View {
  #held = new Map();
  #links = new Map();
  #linksDue = 0;

  constructor(place, bench) {
    this.bench = bench;
    this.rows = h("div", { class: "channels" });
    this.none = h("div", { class: "empty" }, h("h2", {}, t("sensors.none")), h("p", {}, t("sensors.none_more")));
    this.linksTitle = h("h2", {}, t("sensors.links"));
    this.links = h("div", { class: "rows" });
    this.ports = new Ports();
    this.bottle = new Bottle();
    place.replaceChildren(h("h1", {}, t("sensors.title")), h("p", { class: "lead" }, t("sensors.lead")), this.none, this.rows, this.bottle.title, this.bottle.element, this.linksTitle, this.links, this.ports.title, this.ports.rows);
  }

  show(bench) {
    const unnamedFirst = (a, b) => (a.kind !== null) - (b.kind !== null) || a.name.localeCompare(b.name);
    const channels = [...bench.channels].sort(unnamedFirst);
    show(this.none, channels.length === 0);
    keyed(this.rows, this.#held, channels, (channel) => channel.name, () => this.#make());
    this.bottle.show(bench.argon);
    this.#askLinks();
    this.ports.ask();
  }

  /** How the ways in are doing: a question of its own, now and then. */
  async #askLinks() {
    const now = performance.now();
    if (now < this.#linksDue) return;
    this.#linksDue = now + LINKS_EVERY_MS;
    let links = [];
    try {
      const answer = await fetch("/healthz", { signal: AbortSignal.timeout(LINKS_EVERY_MS) });
      links = (await answer.json()).links ?? [];
    } catch {
      // No answer: no list; that the service is silent is said larger elsewhere.
    }
    show(this.linksTitle, links.length > 0);
    keyed(this.links, this.#links, links, (link) => link.name, makeLink);
  }

  #make() {
    const name = h("h2");
    const value = h("p", { class: "channel-value live" });
    const quality = h("span", { class: "quality" });
    const age = h("span", { class: "live" });
    const reason = h("p", { class: "reason" });
    const sentAs = h("p", { class: "note" });
    const [kind, kindWord] = choice("choose kind", t("sensors.measures"));
    const [part, partWord] = choice("choose part", t("sensors.on"));
    const [place, placeWord] = choice("choose distance", t("sensors.from_joint"));
    const [checked, checkedWord] = choice("calibrate", t("calibration.label"));
    const [off, offWord] = choice("say error", t("probe_error.label"));
    let channel = null;
    off.addEventListener("click", () => openProbeError(channel, LETTERS));
    kind.addEventListener("click", () => this.#chooseKind(channel));
    part.addEventListener("click", () => this.#choosePart(channel));
    place.addEventListener("click", () => this.#chooseDistance(channel));
    checked.addEventListener("click", () => openCalibration(channel, () => this.bench()?.channels ?? []));
    const element = h("article", { class: "channel" }, h("div", { class: "channel-head" }, name, value), h("p", { class: "channel-state" }, quality, age), reason, sentAs, h("div", { class: "channel-deeds" }, kind, part, place, checked, off));
    const update = (fresh) => {
      channel = fresh;
      setAttribute(element, "data-channel", channel.name);
      setAttribute(element, "data-quality", channel.quality);
      setAttribute(element, "data-kind", channel.kind ?? "");
      setText(name, channel.name);
      const now = reading(channel.value, channel.unit, channel.kind);
      setText(value, now ? `${now.number} ${now.unit}`.trim() : NONE);
      setText(quality, t2("sensors.quality", channel.quality));
      setText(age, t("sensors.age", { age: duration(channel.age_s) }));
      setText(reason, channel.reason ?? "");
      show(reason, Boolean(channel.reason));
      show(sentAs, channel.emf_mv !== null);
      setText(sentAs, t(channel.thermocouple ? "sensors.sent_as" : "sensors.sent_as_mv", { emf: channel.emf_mv, letter: channel.thermocouple, channel: channel.cold_junction }));
      kind.classList.toggle("primary", channel.kind === null);
      setText(kindWord, channel.kind ? t2("kind", channel.kind) : t("sensors.not_named"));
      const sitsOn = this.bench()?.parts.find((p) => p.id === channel.part_id);
      setText(partWord, sitsOn?.name ?? t("sensors.no_part"));
      show(part, channel.kind !== null && !OF_THE_SHOP.includes(channel.kind));
      show(place, channel.kind === "thermocouple" && channel.part_id !== null);
      setText(placeWord, distance(channel.from_joint_mm ?? null));
      show(checked, canCalibrate(channel));
      setText(checkedWord, calibrated(channel.calibration));
      show(off, channel.kind === "thermocouple");
      setText(offWord, errorWords(channel));
    };
    return { element, update };
  }

  #chooseKind(channel) {
    const options = KINDS.map((kind) => ({
      value: kind, text: t2("kind", kind), more: t2("kind_more", kind), chosen: kind === channel.kind,
      hint: kind === channel.kind_guess && channel.kind === null ? t("sensors.guess", { kind: t2("kind", kind) }) : null,
    }));
    openSheet(t("sensors.kind_title", { channel: channel.name }), "kind", tiles("adopt channel", options, (kind) => {
      if (kind === "thermocouple" && channel.emf_mv !== null) this.#chooseType(channel);
      else this.#adopt(channel, { channel_kind: kind });
    }));
  }

  async #adopt(channel, said) {
    closeSheet();
    await act({ kind: "adopt channel", channel: channel.name, ...said }, t("done.adopt channel", { channel: channel.name, kind: t2("kind", said.channel_kind) }));
  }

  /** A bare voltage: which wire it comes from ... */
  #chooseType(channel) {
    const options = LETTERS.map((letter) => ({ value: letter, text: t("sensors.type", { letter }), more: t2("sensors.type_more", letter), chosen: letter === channel.thermocouple }));
    openSheet(t("sensors.type_title", { channel: channel.name }), "type", h("p", { class: "note" }, t("sensors.type_note")), tiles("choose type", options, (letter) => this.#chooseTerminals(channel, letter)));
  }

  /** ... and who measures its terminals. */
  #chooseTerminals(channel, letter) {
    const fit = this.bench().channels.filter((each) => each.name !== channel.name && each.unit === "Cel" && each.emf_mv === null && [null, "cold junction", "ambient"].includes(each.kind));
    const options = fit.map((each) => ({ value: each.name, text: each.name, more: each.value === null ? NONE : degrees(each.value), chosen: each.name === channel.cold_junction }));
    const none = fit.length ? null : h("p", { class: "note" }, t("sensors.terminals_none"));
    openSheet(t("sensors.terminals_title", { channel: channel.name }), "terminals", h("p", { class: "note" }, t("sensors.terminals_note")), none, tiles("choose terminals", options, (name) =>
      this.#adopt(channel, { channel_kind: "thermocouple", thermocouple: letter, cold_junction: name })));
  }

  #choosePart(channel) {
    const parts = this.bench().parts.map((part) => ({ value: part.id, text: part.name, more: t2("phase", part.phase), chosen: part.id === channel.part_id }));
    const options = [...parts, { value: "none", text: t("sensors.no_part"), chosen: channel.part_id === null }];
    openSheet(t("sensors.part_title", { channel: channel.name }), "part of", h("p", { class: "note" }, t("sensors.part_note")), tiles("assign channel", options, async (id) => {
      closeSheet();
      const part = this.bench().parts.find((p) => p.id === id);
      const said = part ? t("done.assign channel", { channel: channel.name, part: part.name }) : t("done.take off", { channel: channel.name });
      await act({ kind: "assign channel", channel: channel.name, part_id: part ? part.id : null }, said);
    }));
  }

  /** Where on the part: the probes beside the joint are the ones that interpass is judged by. */
  #chooseDistance(channel) {
    const options = [...FROM_JOINT_MM, null].map((mm) => ({ value: mm, text: distance(mm), chosen: mm === (channel.from_joint_mm ?? null) }));
    openSheet(t("sensors.distance_title", { channel: channel.name }), "distance", h("p", { class: "note" }, t("sensors.distance_note")), tiles("say distance", options, async (mm) => {
      closeSheet();
      await act({ kind: "assign channel", channel: channel.name, part_id: channel.part_id, from_joint_mm: mm }, t("done.distance", { channel: channel.name, distance: distance(mm) }));
    }));
  }
}

/** A button that shows what is chosen under what it is about. */
function choice(action, about) {
  const word = h("strong");
  return [h("button", { type: "button", class: "button choice", "data-action": action }, h("span", {}, about), word), word];
}

function distance(mm) {
  return mm === null ? t("sensors.distance_none") : t("sensors.distance", { mm: integer(mm) });
}

function calibrated(calibration) {
  if (!calibration) return t("calibration.never");
  if (calibration.overdue) return t("calibration.overdue");
  if (calibration.due) return t("calibration.until", { date: new Date(calibration.due).toLocaleDateString() });
  return t("calibration.since", { date: new Date(calibration.since).toLocaleDateString() });
}

function makeLink() {
  const name = h("strong");
  const about = h("span", { class: "live" });
  const rejected = h("span");
  const evidence = h("span");
  const element = h("article", { class: "row" }, h("div", { class: "row-words" }, name, about, rejected, evidence));
  const update = (link) => {
    setAttribute(element, "data-link-name", link.name);
    setText(name, link.name);
    const last = link.data_age_s === null ? t("sensors.link_silent") : t("sensors.link_last", { age: duration(link.data_age_s) });
    setText(about, `${link.state} · ${last}`);
    const causes = Object.entries(link.rejected ?? {}).filter(([, n]) => n > 0);
    const words = causes.map(([cause, n]) => `${t2("sensors.reject", cause)} ${n}`).join(", ");
    show(rejected, link.rejected !== undefined);
    setText(rejected, words ? `${t("sensors.rejected")}: ${words}` : t("sensors.rejected_none"));
    const told = evidenceOf(link);
    show(evidence, told.length > 0);
    setText(evidence, told.join(" · "));
  };
  return { element, update };
}

/** What a link and the nodes behind it say of themselves; the age of the data decides, not this. */
function evidenceOf(link) {
  const told = [];
  if (link.resets > 0) told.push(t("sensors.link_resets", { count: link.resets }));
  if (link.sums_ignored > 0) told.push(t("sensors.link_sums", { count: link.sums_ignored }));
  for (const node of (link.nodes ?? []).slice(0, NODES_SHOWN)) {
    const age = node.age_s === null ? "?" : duration(node.age_s);
    told.push(t("sensors.link_node", { topic: node.topic, says: node.says, age }));
  }
  if (link.last_reject) told.push(t("sensors.link_last_reject", { text: link.last_reject }));
  return told;
}
