// The strip chart: temperature against the window it must stay in, what was done, what comes.
import { degrees, integer, oneDecimal } from "./format.js";
import { scale } from "./units.js";
import { t } from "./words.js";

const MIN = 60_000;
const SPANS = { 20: [20 * MIN, 10 * MIN], 60: [60 * MIN, 20 * MIN] };
const LANE = 52;
const SAMPLES = 60;
const PAD = { left: 46, right: 10, top: 10, bottom: 26 };
const NICE = [5, 10, 20, 25, 50, 100, 200, 250, 500];
const TICKS_MIN = [1, 2, 5, 10, 15, 30, 60, 120, 240, 480];
const DASHES = [[], [7, 4], [2, 3], [10, 3, 2, 3]];

let inks = null;
/** The theme has changed: read the colours anew at the next drawing. */
export function forgetInks() {
  inks = null;
}

function ink() {
  if (inks) return inks;
  const style = getComputedStyle(document.documentElement);
  const names = ["ink", "soft", "rule", "paper", "window", "arc", "flow", "limit", "gap"];
  inks = Object.fromEntries(names.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
  inks.font = getComputedStyle(document.body).fontFamily;
  return inks;
}

/** First and last moment shown [ms], with now between. */
export function timeSpan(span, now, beganAt) {
  if (span !== "heat") return [now - SPANS[span][0], now + SPANS[span][1]];
  const past = Math.max(10 * MIN, now - (beganAt ?? now - 20 * MIN));
  return [now - past, now + past / 4];
}

/**
 * Draw one part's strip.
 * @param {HTMLCanvasElement} canvas
 * @param {object} view now [ms], span, part, traces [{name, points}], flow {points}|null,
 *   passes [{from, to|null}], alarms [{at}], note, live.
 */
export function drawStrip(canvas, view) {
  const box = canvas.getBoundingClientRect();
  if (box.width < 40 || box.height < 40) return;
  const ratio = Math.min(devicePixelRatio || 1, 3);
  const [width, height] = [Math.round(box.width * ratio), Math.round(box.height * ratio)];
  if (canvas.width !== width || canvas.height !== height) {
    canvas.width = width;
    canvas.height = height;
  }
  const g = canvas.getContext("2d");
  g.setTransform(ratio, 0, 0, ratio, 0, 0);
  g.clearRect(0, 0, box.width, box.height);
  const c = ink();
  g.font = `600 13px ${c.font}`;
  g.lineJoin = "round";
  const p = frame(box, view);
  const holes = new Map(view.traces.map((trace) => [trace, gapsOf(trace.points, view.now)]));
  const plot = { g, c, p, view, holes };
  window_(plot);
  grid(plot);
  passes(plot);
  limits(plot);
  gaps(plot);
  g.save();
  clip(g, p);
  fan(plot);
  view.traces.forEach((trace, i) => line(plot, trace, i));
  g.restore();
  lane(plot);
  marks(plot);
  note(plot);
}

function frame(box, view) {
  const [from, to] = timeSpan(view.span, view.now, view.beganAt);
  const lane_ = view.flow ? LANE : 0;
  const area = { left: PAD.left, right: box.width - PAD.right, top: PAD.top, bottom: box.height - PAD.bottom - lane_ };
  const [low, high] = heights(view, from);
  const x = (ms) => area.left + ((ms - from) / (to - from)) * (area.right - area.left);
  const at = (figure) => area.bottom - ((figure - low) / (high - low)) * (area.bottom - area.top);
  const { to: shown } = scale("°C");
  const y = (c) => at(shown(c));
  return { ...area, from, to, low, high, x, y, at, lane: lane_ };
}

/** The lowest and the highest figure of the axis, in the unit that is shown. */
function heights(view, from) {
  const { to: shown } = scale("°C");
  let [low, high] = [Infinity, -Infinity];
  const see = (c) => {
    if (c === null || c === undefined) return;
    low = Math.min(low, shown(c));
    high = Math.max(high, shown(c));
  };
  see(view.part.limits.preheat_min_c);
  see(view.part.limits.interpass_max_c);
  for (const { points } of view.traces) {
    for (const point of points) {
      if (point.t < from) continue;
      see(point.low);
      see(point.high);
    }
  }
  if (low > high) [low, high] = [0, 400];
  const pad = Math.max(20, (high - low) * 0.12);
  const step = NICE.find((n) => (high - low + 2 * pad) / n <= 6) ?? 500;
  return [Math.floor((low - pad) / step) * step, Math.ceil((high + pad) / step) * step];
}

function clip(g, p) {
  g.beginPath();
  g.rect(p.left, p.top, p.right - p.left, p.bottom - p.top);
  g.clip();
}

/** The band between the limits: the window itself. */
function window_({ g, c, p, view }) {
  const { preheat_min_c: low, interpass_max_c: high } = view.part.limits;
  if (low === null && high === null) return;
  const top = high === null ? p.top : Math.max(p.top, p.y(high));
  const bottom = low === null ? p.bottom : Math.min(p.bottom, p.y(low));
  if (bottom <= top) return;
  g.fillStyle = c.window;
  g.fillRect(p.left, top, p.right - p.left, bottom - top);
}

function grid({ g, c, p, view }) {
  const step = NICE.find((n) => (p.high - p.low) / n <= Math.max(2, (p.bottom - p.top) / 38)) ?? 500;
  g.lineWidth = 1;
  g.strokeStyle = c.rule;
  g.fillStyle = c.soft;
  g.textAlign = "right";
  g.textBaseline = "middle";
  for (let v = Math.ceil(p.low / step) * step; v <= p.high; v += step) {
    const y = Math.round(p.at(v)) + 0.5;
    stroke(g, p.left, y, p.right, y);
    g.fillText(integer(v), p.left - 7, y);
  }
  const minutes = TICKS_MIN.find((n) => ((p.to - p.from) / MIN / n) * 58 <= p.right - p.left) ?? 480;
  g.textAlign = "center";
  g.textBaseline = "alphabetic";
  const base = p.bottom + p.lane;
  for (let n = Math.ceil((p.from - view.now) / MIN / minutes); view.now + n * minutes * MIN <= p.to; n += 1) {
    const x = Math.round(p.x(view.now + n * minutes * MIN)) + 0.5;
    if (n !== 0) stroke(g, x, p.top, x, base);
    const last = view.now + (n + 1) * minutes * MIN > p.to;
    const figure = `${n > 0 ? "+" : "−"}${Math.abs(n * minutes)}`;
    const label = n === 0 ? t("strip.now") : last ? t("time.min", { n: figure }) : figure;
    g.fillStyle = n === 0 ? c.ink : c.soft;
    g.textAlign = x > p.right - 34 ? "right" : "center";
    if (x > p.left + 12) g.fillText(label, Math.min(x, p.right), base + 18);
  }
  g.strokeStyle = c.ink;
  g.lineWidth = 2;
  const x = Math.round(p.x(view.now));
  stroke(g, x, p.top, x, base);
}

function stroke(g, x1, y1, x2, y2) {
  g.beginPath();
  g.moveTo(x1, y1);
  g.lineTo(x2, y2);
  g.stroke();
}

function limits({ g, c, p, view }) {
  const { preheat_min_c: low, interpass_max_c: high } = view.part.limits;
  g.strokeStyle = c.limit;
  g.fillStyle = c.limit;
  g.lineWidth = 2.5;
  g.textAlign = "left";
  if (high !== null) {
    g.setLineDash([12, 5]);
    stroke(g, p.left, p.y(high), p.right, p.y(high));
    label(g, c, t("strip.interpass", { c: degrees(high) }), p.left + 8, p.y(high) - 7);
  }
  if (low !== null) {
    g.setLineDash([]);
    stroke(g, p.left, p.y(low), p.right, p.y(low));
    label(g, c, t("strip.preheat", { c: degrees(low) }), p.left + 8, p.y(low) + 17);
  }
  g.setLineDash([]);
}

/** Text with a rim of paper, readable over any line. */
function label(g, c, text, x, y) {
  g.save();
  g.setLineDash([]);
  g.lineWidth = 4;
  g.strokeStyle = c.paper;
  g.strokeText(text, x, y);
  g.restore();
  g.fillText(text, x, y);
}

function passes({ g, c, p, view }) {
  for (const { from, to } of view.passes) {
    const left = Math.max(p.left, p.x(from));
    const right = Math.min(p.right, p.x(to ?? view.now));
    if (right <= p.left || left >= p.right) continue;
    g.globalAlpha = 0.28;
    g.fillStyle = c.arc;
    g.fillRect(left, p.top, Math.max(3, right - left), p.bottom - p.top);
    g.globalAlpha = 1;
    g.fillRect(left, p.top, Math.max(3, right - left), 5);
  }
}

/** Hatch where the first trace had nothing to say. */
function gaps({ g, c, p, view, holes }) {
  const first = view.traces[0];
  if (!first) return;
  for (const [from, to] of holes.get(first)) {
    const left = Math.max(p.left, p.x(from));
    const right = Math.min(p.right, p.x(to));
    if (right - left < 3) continue;
    g.save();
    g.beginPath();
    g.rect(left, p.top, right - left, p.bottom - p.top);
    g.clip();
    g.strokeStyle = c.gap;
    g.lineWidth = 1.5;
    for (let x = left - (p.bottom - p.top); x < right; x += 9) stroke(g, x, p.bottom, x + (p.bottom - p.top), p.top);
    g.restore();
    if (right - left > 84) {
      g.fillStyle = c.soft;
      g.textAlign = "center";
      label(g, c, t("strip.gap"), (left + right) / 2, (p.top + p.bottom) / 2);
    }
  }
}

/** A pause is a gap when it is much longer than the points are apart. */
export function gapsOf(points, now) {
  if (points.length < 2) return [];
  // A fast demo's live points lie further apart than its stored ones: both count as usual.
  const usual = Math.max(5000, 4 * usualStep(points), 4 * usualStep(points.slice(-15)));
  const found = [];
  let lastGood = null;
  for (const point of points) {
    if (point.low === null) continue;
    if (lastGood !== null && point.t - lastGood > usual) found.push([lastGood, point.t]);
    lastGood = point.t;
  }
  if (lastGood !== null && now - lastGood > usual) found.push([lastGood, now]);
  return found;
}

/** The middle one of some steps spread over all points [ms]. */
function usualStep(points) {
  const every = Math.max(1, Math.floor((points.length - 1) / SAMPLES));
  const steps = [];
  for (let i = 1; i < points.length; i += every) steps.push(points[i].t - points[i - 1].t);
  return steps.sort((a, b) => a - b)[Math.floor(steps.length / 2)];
}

function line({ g, c, p, holes }, trace, i) {
  const breaks = new Set(holes.get(trace).map(([, to]) => to));
  g.strokeStyle = i === 0 ? c.ink : c.soft;
  g.lineWidth = i === 0 ? 3 : 2.5;
  g.setLineDash(DASHES[i % DASHES.length]);
  g.beginPath();
  let down = false;
  for (const point of trace.points) {
    if (point.low === null) continue;
    const x = p.x(point.t);
    if (x < p.left - 60) continue;
    if (!down || breaks.has(point.t)) g.moveTo(x, p.y(point.low));
    else g.lineTo(x, p.y(point.low));
    if (point.high - point.low > 0.5) g.lineTo(x, p.y(point.high));
    down = true;
  }
  g.stroke();
  g.setLineDash([]);
}

/** From here to where the window opens or closes: early, likely and late. */
function fan({ g, c, p, view }) {
  const { heat, limits: { preheat_min_c: low, interpass_max_c: high } } = view.part;
  const here = heat.temperature_c;
  if (here === null || !view.live) return;
  const { closes_in_s: closes, opens_in_s: opens } = heat.window;
  if (closes && low !== null && here > low) wedge({ g, c, p, view }, here, low, closes);
  else if (closes && high !== null && here < high && (heat.rate_c_per_h ?? 0) > 0) wedge({ g, c, p, view }, here, high, closes);
  if (opens) {
    const to = low !== null && here < low ? low : high !== null && here > high ? high : null;
    if (to !== null) wedge({ g, c, p, view }, here, to, opens);
  }
}

function wedge({ g, c, p, view }, from, to, { p05, p50, p95 }) {
  const at = (s) => p.x(view.now + s * 1000);
  const [x0, y0, y1] = [p.x(view.now), p.y(from), p.y(to)];
  const late = p95 === null ? p.right + 200 : at(p95);
  // The curve leaves faster than it arrives, as a cooling part does.
  const arc = (x, start) => {
    g[start ? "moveTo" : "lineTo"](x0, y0);
    g.quadraticCurveTo(x0 + (x - x0) * 0.42, y0 + (y1 - y0) * 0.58, x, y1);
  };
  g.fillStyle = c.ink;
  g.globalAlpha = 0.2;
  g.beginPath();
  arc(at(p05), true);
  g.lineTo(late, y1);
  g.quadraticCurveTo(x0 + (late - x0) * 0.42, y0 + (y1 - y0) * 0.58, x0, y0);
  g.fill();
  g.globalAlpha = 1;
  g.strokeStyle = c.ink;
  g.lineWidth = 2;
  g.setLineDash([2, 5]);
  g.beginPath();
  arc(at(p50), true);
  g.stroke();
  g.setLineDash([]);
  g.fillStyle = c.ink;
  g.fillRect(at(p05) - 1.5, y1 - 8, 3, 16);
}

/** Argon flow on a lane of its own below. */
function lane({ g, c, p, view }) {
  if (!view.flow) return;
  const top = p.bottom + 8;
  const base = p.bottom + p.lane;
  const points = view.flow.points.filter((point) => point.t >= p.from);
  const most = Math.max(5, ...points.map((point) => point.high ?? 0)) * 1.15;
  const y = (v) => base - (v / most) * (base - top);
  const breaks = new Set(gapsOf(points, view.now).map(([, to]) => to));
  g.fillStyle = c.flow;
  g.globalAlpha = 0.55;
  points.forEach((point, i) => {
    const before = points[i - 1];
    if (point.low === null || !before || before.low === null || breaks.has(point.t)) return;
    const [x0, x1] = [p.x(before.t), p.x(point.t)];
    g.fillRect(x0, y(before.high), x1 - x0 + 0.5, base - y(before.high));
  });
  g.globalAlpha = 1;
  g.strokeStyle = c.rule;
  g.lineWidth = 1;
  stroke(g, p.left, base, p.right, base);
  g.fillStyle = c.ink;
  g.textAlign = "left";
  const { unit, to: shown } = scale("L/min");
  label(g, c, t("strip.flow", { unit }), p.left + 8, top + 12);
  const last = points.at(-1);
  if (last && last.high !== null && view.live) label(g, c, oneDecimal(shown(last.high)), p.x(view.now) + 6, base - 6);
}

function marks({ g, c, p, view }) {
  g.fillStyle = c.ink;
  for (const { at } of view.alarms) {
    const x = p.x(at);
    if (x < p.left || x > p.right) continue;
    g.beginPath();
    g.moveTo(x - 7, p.bottom);
    g.lineTo(x + 7, p.bottom);
    g.lineTo(x, p.bottom - 13);
    g.fill();
  }
  const here = view.part.heat.temperature_c;
  if (here === null || !view.live) return;
  g.beginPath();
  g.arc(p.x(view.now), p.y(here), 6, 0, 7);
  g.fill();
  g.strokeStyle = c.paper;
  g.lineWidth = 2.5;
  g.stroke();
}

function note({ g, c, p, view }) {
  if (!view.note) return;
  g.fillStyle = c.ink;
  g.textAlign = "center";
  label(g, c, view.note, (p.left + p.right) / 2, (p.top + p.bottom) / 2 - 10);
}
