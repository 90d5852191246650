// Correct where a part was and since when. The readings stay as they are.
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
  openSheet(t("trip.correct_title", { part: part.name }), "phases", h("p", { class: "note" }, t("trip.correct_note")), tiles("choose phase", rows, choose));
}

function openOne(part, phase) {
  const say = (what, button) => pressed(button, async () => {
    const done = await act({ kind: "correct phase", heat_id: part.heat_id, number: phase.number, ...what }, t("done.corrected", { part: part.name }));
    if (done) closeSheet();
  });
  const first = phase.number === part.trip.phases[0].number;
  const began = Date.parse(phase.began_at);
  const moved = MOVES_S.map((s) => ({ value: s, text: t(s < 0 ? "trip.earlier" : "trip.later", { time: timeOfDay(began + s * 1000) }) }));
  const was = PHASES.filter((name) => name !== phase.phase).map((name) => ({ value: name, text: t2("phase", name) }));
  openSheet(t("trip.one_title", { phase: t2("phase", phase.phase), time: timeOfDay(began) }), "phase",
    h("h3", {}, t("trip.was")), tiles("was phase", was, (name, button) => say({ phase: name }, button)),
    first ? null : h("h3", {}, t("trip.began")),
    first ? null : tiles("began phase", moved, (s, button) => say({ began_us: (began + s * 1000) * 1000 }, button)),
    first ? null : h("h3", {}, t("trip.never_title")),
    first ? null : tiles("never phase", [{ value: "never", text: t("trip.never") }], (_, button) => say({ never: true }, button)));
}
