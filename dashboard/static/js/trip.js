// The trip of a part: what the large button does next, what was seen without a tap, and the way back.
import { act } from "./deeds.js";
import { duration, spoken } from "./format.js";
import { toast } from "./toasts.js";
import { count, t, t2 } from "./words.js";

const UNDO_MS = 8000;
/** After the last arc [s]: when the voice says so. */
const COVER_SAID_S = [60, 120, 300];

/** The one obvious next step: [action, phase it moves to]. */
export function nextStep({ phase, pass_running: welding, trip }) {
  if (trip) {
    if (trip.next_step) return [trip.next_step.kind, trip.next_step.phase];
    return phase === "bench" ? ["begin pass", null] : [null, null];
  }
  if (welding) return ["end pass", null];
  if (phase === "oven") return ["move part", "carry"];
  if (phase === "carry") return ["move part", "bench"];
  return phase === "bench" ? ["begin pass", null] : [null, null];
}

/** "2 passes, 3 tacks · arc 4 min". */
export function weldWords({ pass_running: welding, passes, trip }) {
  if (welding) return arc(t("deed.pass_running", { n: passes }), trip);
  const tacks = trip?.tacks ?? 0;
  const words = [tacks < passes || tacks === 0 ? count("deed.passes", passes - tacks) : null, tacks ? count("trip.tacks", tacks) : null];
  return arc(words.filter(Boolean).join(", "), trip);
}

const arc = (words, trip) => (trip?.arc_s ? `${words} · ${t("trip.arc", { time: duration(trip.arc_s) })}` : words);

/** What said that the part is where it is; nothing for a tap. */
export function originWords({ trip }) {
  const origin = trip?.phase_origin;
  return origin && origin !== "tap" ? t2("trip.origin", origin) : "";
}

/** The clock that says when to cover, or what it came to. */
export function coverWords({ trip }) {
  if (!trip) return "";
  if (typeof trip.covered_after_s === "number") return t("trip.covered_after", { time: duration(trip.covered_after_s) });
  if (typeof trip.last_arc_s === "number") return t("trip.last_arc", { time: clock(trip.last_arc_s) });
  return "";
}

const clock = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, "0")}`;

/** What the voice should say of the cover now that time has passed, or null. */
export function coverDue(before, { name, trip }) {
  const now = trip?.last_arc_s;
  if (typeof now !== "number" || typeof before !== "number") return null;
  const passed = COVER_SAID_S.some((at) => before < at && now >= at);
  return passed ? t("speech.part", { part: name, what: t("speech.cover", { time: spoken(now) }) }) : null;
}

/** A button that takes back the last step, as long as it is still the last. */
export function undo(kind, part, current) {
  const run = () => {
    const last = current()?.trip?.last_step;
    if (!last || last.kind !== kind) {
      toast(t("trip.too_late"), { bad: true });
      return;
    }
    act({ kind: "undo step", heat_id: part.heat_id, number: last.number }, t("done.undone"));
  };
  return { button: { action: "undo", text: t("done.undo"), run }, ms: UNDO_MS };
}

/** Say a step that nobody tapped here, once. */
export function tellStep(before, part, current) {
  const last = part.trip?.last_step;
  if (!before?.trip || before.heat_id !== part.heat_id || !last || last.origin === "tap") return;
  const known = before.trip.last_step;
  if (known && known.number >= last.number) return;
  const what = last.kind === "move part" ? t2("phase", last.phase) : t2("deed", last.kind);
  toast(t("trip.seen", { part: part.name, what, origin: t2("trip.origin", last.origin) }), undo(last.kind, part, current));
}
