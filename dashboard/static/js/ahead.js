// Two bars on one clock: when the heat window opens and closes, when the purge is clear.
import { h, setAttribute, setText } from "./dom.js";
import { range } from "./format.js";
import { t } from "./words.js";

const STEPS_MIN = [1, 2, 5, 10, 15, 30, 60, 120, 240];

/** Draw into the elements of a panel. */
export function drawAhead(slots, part) {
  const span = axisSpan(part);
  const heat = heatSpans(part, span);
  const purge = purgeSpans(part, span);
  bar(slots["ahead-heat"], heat, span);
  bar(slots["ahead-purge"], purge, span);
  axis(slots["ahead-axis"], span);
  setAttribute(slots.ahead, "aria-label", t("ahead.text", { heat: heat.text, purge: purge.text }));
}

function axisSpan(part) {
  const ends = [part.heat.window.closes_in_s, part.heat.window.opens_in_s, part.purge.clear_in_s]
    .filter(Boolean)
    .map((spread) => (spread.p95 ?? spread.p50 * 1.6) * 1.15);
  const most = Math.max(300, ...ends);
  const step = STEPS_MIN.map((min) => min * 60).find((s) => most / s <= 6) ?? 14_400;
  return { step, end: Math.ceil(most / step) * step };
}

/** [doubt from, sure from, sure to, doubt to] in seconds from now; null where there is nothing. */
function heatSpans(part, { end }) {
  const { opens_in_s: opens, closes_in_s: closes } = part.heat.window;
  const open = part.heat.verdict === "ready";
  if (!closes && !opens) return { at: null, text: t("ahead.none") };
  if (!open && !opens) return { at: null, text: t("ahead.none") };
  const from = open ? [0, 0] : [opens.p05, opens.p95 ?? end];
  const to = closes ? [closes.p05, closes.p95 ?? end] : [end, end];
  const text = closes ? `${t("heat.closes")} ${range(closes)}` : `${t("heat.opens")} ${range(opens)}`;
  return { at: [from[0], Math.min(from[1], to[0]), Math.max(to[0], Math.min(from[1], to[0])), to[1]], text };
}

function purgeSpans(part, { end }) {
  const { clear, clear_in_s: clearIn, running } = part.purge;
  if (clear) return { at: [0, 0, end, end], text: t("purge.clear") };
  if (!running || !clearIn) return { at: null, text: t("ahead.none") };
  return { at: [clearIn.p05, clearIn.p95 ?? end, end, end], text: `${t("purge.clear_in")} ${range(clearIn)}` };
}

function bar(track, spans, { end }) {
  const [before, sure, after, words] = track.children;
  const percent = (s) => `${(Math.min(Math.max(s / end, 0), 1) * 100).toFixed(2)}%`;
  const lay = (piece, from, to) => {
    piece.style.left = percent(from);
    piece.style.width = percent(Math.max(0, Math.min(to, end) - from));
  };
  const [a, b, c, d] = spans.at ?? [0, 0, 0, 0];
  lay(before, a, b);
  lay(sure, b, c);
  lay(after, c, d);
  setText(words, spans.at ? "" : spans.text);
}

function axis(line, { step, end }) {
  const key = `${step}/${end}`;
  if (line.dataset.key === key) return;
  line.dataset.key = key;
  const ticks = [];
  for (let s = 0; s <= end; s += step) {
    const [unit, size] = end >= 7200 ? ["time.h", 3600] : ["time.min", 60];
    if (s === end - step && end / step >= 4) continue; // leaves room for the last one's unit
    const text = s === 0 ? t("ahead.now") : s === end ? t(unit, { n: s / size }) : String(s / size);
    const tick = h("span", {}, text);
    tick.style.left = `${((s / end) * 100).toFixed(2)}%`;
    ticks.push(tick);
  }
  line.replaceChildren(...ticks);
}
