// One heat: the verdict in words, why, how long, what next, and the buttons for it.
import { drawAhead } from "./ahead.js";
import { act, pressed } from "./deeds.js";
import { setAttribute, setLines, setText, show } from "./dom.js";
import { degrees, duration, flow, integer, likely, NONE, perHour, range, significant } from "./format.js";
import { Probes } from "./probes.js";
import { drawStrip, timeSpan } from "./strip.js";
import { soon } from "./toasts.js";
import { Trace } from "./trace.js";
import { coverWords, nextStep, originWords, tellStep, undo, weldWords } from "./trip.js";
import { scale } from "./units.js";
import { find, sentence, t, t2 } from "./words.js";

const VERDICTS = new Set(["ready", "wait", "stop", "unknown"]);
/** Anything this page does not know is doubt, and doubt is never ready. */
const verdictOf = (text) => (VERDICTS.has(text) ? text : "unknown");
const STEADY_C_PER_H = 15;
const PASSES_MOST = 200;
const GLOVES_C = [[100, 1], [250, 2], [350, 3], [500, 4]];
const HOT_C = 43;

export class Panel {
  #traces = new Map();
  #passes = [];
  #span = "20";
  #part = null;
  #bench = null;
  #moving = false;
  #said = new Set();
  #live = true;

  constructor(openPart) {
    this.openPart = openPart;
    this.element = document.getElementById("t-panel").content.firstElementChild.cloneNode(true);
    this.slots = {};
    for (const slot of this.element.querySelectorAll("[data-slot]")) this.slots[slot.dataset.slot] = slot;
    this.probes = new Probes(this.slots.probes);
    this.element.addEventListener("click", (event) => this.#click(event));
  }

  /** Show a part as the bench answer has it. */
  show(part, bench) {
    if (part.heat_id !== this.#part?.heat_id) this.#passes = [];
    const before = this.#part;
    this.#part = part;
    tellStep(before, part, () => this.#part);
    this.#bench = bench;
    const { slots: s, element } = this;
    setAttribute(element, "data-part-id", part.id);
    setAttribute(element, "data-heat-id", part.heat_id);
    setAttribute(element, "data-phase", part.phase);
    setAttribute(element, "data-pass-running", part.pass_running);
    setText(s.name, part.name);
    setText(s.about, this.#about(part));
    setText(s.since, coverWords(part));
    setAttribute(element, "data-phase-origin", part.trip?.phase_origin ?? null);
    show(s["correct"], Boolean(part.trip));
    const steps = part.procedure?.steps ?? [];
    show(s.steps, steps.length > 0);
    setText(s.steps, t("procedures.steps_done", { n: steps.filter((step) => step.ticked_at !== null).length, of: steps.length }));
    const reasons = why(part);
    this.#verdict(verdictOf(part.verdict), reasons.map(([side, reason]) => said(side, reason)), part.next);
    this.#said = new Set(reasons.map(([, reason]) => reason));
    this.#temperature(part, bench);
    this.#heat(part);
    this.#purge(part);
    this.#phases(part);
    this.#buttons(part);
    setLines(s.mind, cautions(part));
    drawAhead(s, part);
    this.probes.show(bench.channels.filter((c) => c.part_id === part.id));
    this.#remember(part, bench);
    this.draw(true);
  }

  /** Nothing is live any more: say so, and what was last known. */
  lose(silenceMs, title) {
    const part = this.#part;
    if (!part) return;
    const last = t2("verdict", verdictOf(part.verdict)).toLowerCase();
    const words = t("link.panel_why", { verdict: last, age: duration(silenceMs / 1000) });
    this.#verdict("unknown", [words.replace(t("link.lost"), title)], t("link.panel_next"));
    for (const side of ["heat", "purge"]) this.#side(side, "unknown");
    this.draw(false);
  }

  close() {
    this.#traces.clear();
  }

  #verdict(verdict, reasons, next) {
    const { slots: s, element } = this;
    setAttribute(element, "data-verdict", verdict);
    setAttribute(s.shape, "href", `#v-${verdict}`);
    setText(s.word, t2("verdict", verdict));
    setLines(s.why, reasons, "span");
    setText(s.next, next);
    // The same sentence twice only costs the eye time.
    show(s.next.parentElement, !bare(reasons.join("")).includes(bare(next)));
  }

  #side(side, verdict) {
    setAttribute(this.element.querySelector(`[data-cell="${side}"]`), "data-verdict", verdict);
    setAttribute(this.slots[`${side}-shape`], "href", `#v-${verdict}`);
    setText(this.slots[`${side}-verdict`], verdict === "unjudged" ? t("purge.not_judged") : t2("verdict", verdict));
  }

  #about(part) {
    return [t2("metal", part.metal), weldWords(part), originWords(part)].filter(Boolean).join(" · ");
  }

  #temperature(part, bench) {
    const { slots: s } = this;
    const { temperature_c: coldest, rate_c_per_h: rate } = part.heat;
    const { unit, to } = scale("°C");
    setText(s.temperature, coldest === null ? NONE : integer(to(coldest)));
    setText(s["temperature-unit"], unit);
    const [arrow, words] = coldest === null ? [null, t("heat.no_temperature")] : trend(rate);
    setAttribute(s.arrow, "href", arrow ? `#t-${arrow}` : "#none");
    setText(s.trend, words);
    const others = bench.channels.filter((c) => c.part_id === part.id && c.kind === "thermocouple" && c.quality === "good" && c.value !== null);
    const hottest = Math.max(...others.map((c) => c.value));
    const spread = coldest !== null && others.length > 1 && hottest - coldest >= 1;
    setText(s.others, spread ? t("heat.others", { c: degrees(hottest) }) : "");
  }

  #heat({ heat, phase }) {
    const { slots: s } = this;
    this.#side("heat", verdictOf(heat.verdict));
    const { closes_in_s: closes, opens_in_s: opens, reason } = heat.window;
    const main = heat.verdict !== "ready" && opens ? opens : closes;
    const name = main === closes ? "heat.closes" : main?.p95 === 0 ? "heat.open" : "heat.opens";
    setText(s["heat-what"], main ? t(name) : sentence(reason || (phase === "slow cool" ? "" : t("heat.no_forecast"))));
    setText(s["heat-range"], main ? range(main) : "");
    const then = main === opens && closes ? ` · ${t("heat.closes").toLowerCase()} ${range(closes)}` : "";
    setText(s["heat-likely"], main ? mostLikely(main) + then : "");
    show(s["heat-losses"], heat.losses !== null);
    if (heat.losses) setText(s["heat-losses"], losing(heat.losses));
    show(s["heat-later"], Boolean(heat.later));
    if (heat.later) setText(s["heat-later"], sentence(heat.later.text));
    setLines(s["heat-reasons"], this.#unsaid(heat.reasons));
  }

  #purge({ purge, limits }) {
    const { slots: s } = this;
    this.#side("purge", purge.basis === "not judged" ? "unjudged" : verdictOf(purge.verdict));
    const [what, big, small] = purgeWords(purge, limits);
    setText(s["purge-what"], what);
    setText(s["purge-range"], big);
    setText(s["purge-likely"], small);
    show(s.figures, purge.running);
    setText(s.oxygen, oxygen(purge.oxygen_ppm));
    setText(s.flow, purge.flow_l_min === null ? t("purge.flow_unknown") : flow(purge.flow_l_min));
    setText(s.used, `${integer(purge.used_l)} L`);
    setLines(s["purge-reasons"], this.#unsaid(purge.reasons));
  }

  /** Reasons that do not stand beside the verdict already. */
  #unsaid(reasons) {
    return reasons.filter((reason) => !this.#said.has(reason)).map(sentence);
  }

  #phases(part) {
    for (const button of this.element.querySelectorAll(".phase")) {
      setAttribute(button, "aria-current", button.dataset.phase === part.phase ? "step" : null);
    }
  }

  /** The large buttons: the obvious next step first, the gas and the pass beside it. */
  #buttons(part) {
    const { slots: s } = this;
    const [action, phase] = nextStep(part);
    const deed = (slot, kind, to = null) => {
      show(s[slot], kind !== null);
      setAttribute(s[slot], "data-action", kind);
      setAttribute(s[slot], "data-phase", to);
      setText(s[slot], kind === null ? "" : t(to ? `deed.to ${to}` : `deed.${kind}`));
    };
    deed("deed-pass", action, phase);
    s["deed-pass"].classList.toggle("primary", action !== "begin pass" || part.verdict === "ready");
    const gas = part.purge.running ? "end purge" : "begin purge";
    const gasWanted = part.purge.running || part.phase === "carry" || part.phase === "bench";
    deed("deed-purge", gasWanted && gas !== action ? gas : null);
    // With an arc channel passes come by themselves, and a tap is still a way.
    const pass = part.phase === "bench" && !part.pass_running && action !== "begin pass";
    deed("deed-more", pass ? "begin pass" : null);
  }

  // What the chart remembers ---------------------------------------------------------------

  #remember(part, bench) {
    const at = Date.parse(bench.at);
    const kinds = { thermocouple: true, "gas flow": true };
    const channels = bench.channels.filter((c) => c.part_id === part.id && kinds[c.kind]);
    const names = new Set(channels.map((c) => c.name));
    for (const name of this.#traces.keys()) if (!names.has(name)) this.#traces.delete(name);
    const [from] = timeSpan(this.#span, at, began(part));
    for (const channel of channels) {
      let trace = this.#traces.get(channel.name);
      if (!trace) this.#traces.set(channel.name, (trace = new Trace(channel.name)));
      trace.kind = channel.kind;
      trace.live(channel, at);
      trace.refresh(from, at).then((fresh) => fresh && this.draw(this.#live));
    }
    if (part.pass_times) {
      this.#passes = part.pass_times.map(({ began_at: b, ended_at: e }) => ({ from: Date.parse(b), to: e ? Date.parse(e) : null }));
      return;
    }
    const open = this.#passes.at(-1);
    if (part.pass_running && (!open || open.to !== null)) this.#passes.push({ from: at, to: null });
    else if (!part.pass_running && open && open.to === null) open.to = at;
    if (this.#passes.length > PASSES_MOST) this.#passes.shift();
  }

  draw(live) {
    if (!this.#part) return;
    this.#live = live;
    const all = [...this.#traces.values()];
    const traces = all.filter((trace) => trace.kind === "thermocouple").sort((a, b) => a.channel.localeCompare(b.channel));
    const failed = traces.find((trace) => trace.failure);
    const empty = traces.every((trace) => trace.points.length === 0);
    const note = traces.length === 0 ? t("strip.empty") : failed && empty ? t("strip.failed", { why: failed.failure }) : null;
    const now = Date.parse(this.#bench.at);
    drawStrip(this.slots.strip, {
      now,
      span: this.#span,
      beganAt: began(this.#part),
      part: this.#part,
      traces,
      flow: all.find((trace) => trace.kind === "gas flow") ?? null,
      passes: this.#passes,
      alarms: this.#bench.alarms.filter((a) => a.part_id === this.#part.id).map((a) => ({ at: Date.parse(a.since) })),
      note,
      live,
    });
    const span = t(`strip.span_${this.#span}`);
    setAttribute(this.slots.strip, "aria-label", t("strip.label", { part: this.#part.name, span }));
  }

  // What the person does -------------------------------------------------------------------

  #click(event) {
    const button = event.target.closest("[data-action]");
    if (!button || !this.#part) return;
    const { id, heat_id, name, phase } = this.#part;
    const kind = button.dataset.action;
    if (kind === "span") this.#setSpan(button.dataset.span);
    else if (kind === "edit part") this.openPart(id);
    else if (kind === "steps") import("./procedures.js").then(({ openSteps }) => openSteps(this.#part));
    else if (kind === "correct phase") import("./phase_sheet.js").then(({ openPhases }) => openPhases(this.#part));
    else if (kind === "move part") pressed(button, () => this.#move(button.dataset.phase, phase));
    else if (kind === "end heat") soon(t("done.ending_heat", { part: name }), () => act({ kind, heat_id }, t("done.end heat", { part: name })));
    else if (kind === "end purge") soon(t("done.ending_purge", { part: name }), () => act({ kind, heat_id }, t("done.end purge", { part: name })));
    else pressed(button, () => act({ kind, heat_id }, t(`done.${kind}`, { part: name }), this.#back(kind)));
  }

  /** The way back from a step, where the service can take it back. */
  #back(kind) {
    return this.#part.trip ? undo(kind, this.#part, () => this.#part) : undefined;
  }

  async #move(to, from) {
    if (to === from || this.#moving) return;
    this.#moving = true;
    const { heat_id, name } = this.#part;
    const said = t("done.move part", { part: name, phase: t2("phase", to) });
    const run = () => act({ kind: "move part", heat_id, phase: from }, t("done.undone"));
    const back = this.#back("move part") ?? { button: { action: "undo", text: t("done.undo"), run }, ms: 8000 };
    await act({ kind: "move part", heat_id, phase: to }, said, back);
    this.#moving = false;
  }

  #setSpan(span) {
    this.#span = span;
    for (const button of this.element.querySelectorAll(".span")) {
      setAttribute(button, "aria-pressed", button.dataset.span === span);
    }
    const at = Date.parse(this.#bench.at);
    const [from] = timeSpan(span, at, began(this.#part));
    for (const trace of this.#traces.values()) trace.refresh(from, at).then((fresh) => fresh && this.draw(this.#live));
    this.draw(this.#live);
  }
}

const began = (part) => (part.heat_began_at ? Date.parse(part.heat_began_at) : null);

/**
 * The reasons for the whole, as [side, reason]: of the side, or sides, the verdict comes from.
 * Two at most; what else there is to say stands with its side.
 */
/** Where the heat goes, largest first, in watts and shares; what is next to nothing is left out. */
function losing(losses) {
  const paths = ["radiation", "air", "argon", "contact"].map((path) => [path, losses[`${path}_w`] ?? 0]).filter(([, w]) => w >= 0.01 * losses.total_w);
  const share = ([path, w]) => `${t(`heat.path.${path}`)} ${integer((100 * w) / losses.total_w)} %`;
  return t("heat.losing", { w: integer(losses.total_w), paths: paths.sort((a, b) => b[1] - a[1]).map(share).join(", ") });
}

function why(part) {
  const sides = ["heat", "purge"].filter((side) => part[side].verdict === part.verdict && part[side].reasons.length > 0);
  // Off the bench nobody waits for the purge, and one that is not judged decides nothing.
  const judged = sides.filter((side) => side === "heat" || (part.phase === "bench" && part.purge.basis !== "not judged"));
  const each = judged.length > 1 ? 1 : 2;
  const found = judged.flatMap((side) => part[side].reasons.slice(0, each).map((reason) => [side, reason]));
  return found.length ? found : [["heat", part.heat.reasons[0] ?? part.heat.window.reason ?? ""]];
}

const bare = (text) => text.toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "");

/** A reason of the purge says so, if only by its first word. */
const said = (side, reason) => (side === "purge" && !/purge/i.test(reason) ? `${t("purge.title")}: ${reason}` : sentence(reason));

function trend(rate) {
  if (rate === null) return [null, t("heat.trend_unknown")];
  if (Math.abs(rate) < STEADY_C_PER_H) return ["steady", t("heat.steady")];
  const figure = perHour(Math.round(Math.abs(rate) / 5) * 5);
  return rate < 0 ? ["falling", t("heat.falling", { rate: figure })] : ["rising", t("heat.rising", { rate: figure })];
}

function mostLikely({ p50, p95 }) {
  if (p50 < 1) return "";
  return t(p95 === null ? "heat.likely_open_end" : "heat.likely", { time: likely(p50) });
}

function purgeWords(purge, limits) {
  const basis = find("purge", `basis_${purge.basis}`) ?? purge.basis;
  const limit = limits.oxygen_max_ppm === null ? "" : ` · ${t("purge.limit", { ppm: integer(limits.oxygen_max_ppm) })}`;
  const judged = purge.basis !== "not judged";
  if (!purge.running) return [judged ? t("purge.off_more") : "", t("purge.off"), ""];
  if (!judged) return ["", t("purge.on"), ""];
  if (purge.clear) return [basis, t("purge.clear"), limit.slice(3)];
  if (purge.clear_in_s) return [t("purge.clear_in"), range(purge.clear_in_s), `${basis}${limit}`];
  return [t("purge.no_time"), t("purge.not_clear"), `${basis}${limit}`];
}

function oxygen(spread) {
  if (!spread) return NONE;
  const low = significant(spread.p05);
  return spread.p95 === null ? `≥ ${low} ppm` : `${low}–${significant(spread.p95)} ppm`;
}

/** The usual cautions, where they apply. */
function cautions({ phase, purge, pass_running: welding, heat }) {
  const found = [];
  const c = heat.temperature_c;
  if (c !== null && c >= HOT_C) {
    const level = GLOVES_C.find(([most]) => c <= most);
    found.push(t("mind.hot", { c: degrees(c), glove: t(level ? `mind.glove_${level[1]}` : "mind.glove_over") }));
  }
  if (phase === "oven") found.push(t("mind.wet"));
  if (phase === "carry") found.push(t("mind.carry"));
  if (purge.running) found.push(t("mind.argon"));
  if (welding || phase === "bench") found.push(t("mind.fume"));
  return found;
}
