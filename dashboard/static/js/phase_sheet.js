// Correct where a part was and since when, and when a pass was welded. The readings stay as they are.
import { act, pressed } from "./deeds.js";
import { h } from "./dom.js";
import { timeOfDay } from "./format.js";
import { closeSheet, openSheet, tiles } from "./sheet.js";
import { t, t2 } from "./words.js";

const PHASES = ["oven", "carry", "bench", "slow cool"];
const MOVES_S = [-300, -60, -10, 10, 60, 300];

/** The trip so far; a tap on a phase opens what can be said about it. */
export function openPhases(part) {
  const rows = part.trip.phases.map((phase) => ({
    value: phase.number,
    text: t2("phase", phase.phase),
    more: t("trip.since", { time: timeOfDay(Date.parse(phase.began_at)) }),
    hint: phase.corrected ? t("trip.corrected") : t2("trip.origin", phase.origin),
  }));
  const choose = (number) => openOne(part, part.trip.phases.find((phase) => phase.number === number));
  const passes = (part.pass_times ?? []).filter((pass) => pass.number);
  const welded = passes.map((pass) => ({
    value: pass.number,
    text: t("trip.pass", { n: pass.number }),
    more: t(pass.ended_at ? "trip.from_to" : "trip.since", { time: timeOfDay(Date.parse(pass.began_at)), end: pass.ended_at && timeOfDay(Date.parse(pass.ended_at)) }),
    hint: pass.corrected ? t("trip.corrected") : t2("trip.origin", pass.origin),
  }));
  const choosePass = (number) => openPass(part, passes.find((pass) => pass.number === number));
  openSheet(t("trip.correct_title", { part: part.name }), "phases",
    h("p", { class: "note" }, t("trip.correct_note")), tiles("choose phase", rows, choose),
    welded.length ? h("h3", {}, t("trip.passes")) : null,
    welded.length ? tiles("choose pass", welded, choosePass) : null);
}

/** Says a correction; the sheet closes when the service has taken it. */
const saying = (part, deed) => (what, button) => pressed(button, async () => {
  const done = await act({ ...deed, heat_id: part.heat_id, ...what }, t("done.corrected", { part: part.name }));
  if (done) closeSheet();
});

/** Earlier and later than a moment [ms]. */
const around = (at) => MOVES_S.map((s) => ({ value: s, text: t(s < 0 ? "trip.earlier" : "trip.later", { time: timeOfDay(at + s * 1000) }) }));

function openPass(part, pass) {
  const say = saying(part, { kind: "correct pass", number: pass.number });
  const began = Date.parse(pass.began_at);
  const ended = pass.ended_at && Date.parse(pass.ended_at);
  openSheet(t("trip.pass", { n: pass.number }), "pass",
    h("h3", {}, t("trip.began")), tiles("began pass", around(began), (s, button) => say({ began_us: (began + s * 1000) * 1000 }, button)),
    ended ? h("h3", {}, t("trip.ended")) : null,
    ended ? tiles("ended pass", around(ended), (s, button) => say({ ended_us: (ended + s * 1000) * 1000 }, button)) : null,
    ended ? h("h3", {}, t("trip.never_title")) : null,
    ended ? tiles("never pass", [{ value: "never", text: t("trip.never") }], (_, button) => say({ never: true }, button)) : null);
}

function openOne(part, phase) {
  const say = saying(part, { kind: "correct phase", number: phase.number });
  const first = phase.number === part.trip.phases[0].number;
  const began = Date.parse(phase.began_at);
  const moved = around(began);
  const was = PHASES.filter((name) => name !== phase.phase).map((name) => ({ value: name, text: t2("phase", name) }));
  openSheet(t("trip.one_title", { phase: t2("phase", phase.phase), time: timeOfDay(began) }), "phase",
    h("h3", {}, t("trip.was")), tiles("was phase", was, (name, button) => say({ phase: name }, button)),
    first ? null : h("h3", {}, t("trip.began")),
    first ? null : tiles("began phase", moved, (s, button) => say({ began_us: (began + s * 1000) * 1000 }, button)),
    first ? null : h("h3", {}, t("trip.never_title")),
    first ? null : tiles("never phase", [{ value: "never", text: t("trip.never") }], (_, button) => say({ never: true }, button)));
}
