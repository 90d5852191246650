// Numbers, ages and ranges in words. Numbers follow the browser's locale.
import { scale } from "./units.js";
import { t } from "./words.js";

const whole = new Intl.NumberFormat(undefined, { maximumFractionDigits: 0 });
const tenth = new Intl.NumberFormat(undefined, { minimumFractionDigits: 1, maximumFractionDigits: 1 });
const three = new Intl.NumberFormat(undefined, { maximumSignificantDigits: 3 });

const known = (x) => typeof x === "number" && Number.isFinite(x);

export const NONE = "–";

export const integer = (x) => (known(x) ? whole.format(x).replace("-", "−") : NONE);
export const oneDecimal = (x) => (known(x) ? tenth.format(x).replace("-", "−") : NONE);
export const significant = (x) => (known(x) ? three.format(x).replace("-", "−") : NONE);

/** A number [in this unit] with the unit that this device shows it in. */
const shown = (unit, form) => (x) => {
  const { unit: name, to } = scale(unit);
  return known(x) ? `${form(to(x))} ${name}` : `${NONE} ${name}`;
};
/** A temperature [°C], a rate [°C/h], a flow [L/min], with the unit. */
export const degrees = shown("°C", integer);
export const perHour = shown("°C/h", integer);
export const flow = shown("L/min", oneDecimal);

const UNITS = {
  Cel: ["°C", oneDecimal, 1],
  "l/min": ["L/min", oneDecimal, 1],
  ppm: ["ppm", significant, 1],
  Pa: ["bar", oneDecimal, 1e-5],
  A: ["A", oneDecimal, 1],
  mV: ["mV", significant, 1],
};

/** A channel's value with its unit, as a person in the shop writes it. */
export function reading(value, unit, kind = null) {
  if (!known(value)) return null;
  if (kind === "room oxygen" && unit === "ppm") return { number: oneDecimal(value / 1e4), unit: "%" };
  if (unit === "on/off") return { number: value ? "on" : "off", unit: "" };
  const [name, form, factor] = UNITS[unit] ?? [unit ?? "", significant, 1];
  const { unit: shownIn, to } = scale(name);
  return { number: form(to(value * factor)), unit: shownIn };
}

/** A duration [s] as one figure, rounded down to what matters. */
export function duration(s) {
  if (s < 1) return t("time.s", { n: 0 });
  if (s < 120) return t("time.s", { n: whole.format(Math.floor(s)) });
  if (s < 7200) return t("time.min", { n: whole.format(Math.floor(s / 60)) });
  return t("time.h", { n: tenth.format(s / 3600) });
}

/** A duration [s] in words to be spoken, rounded down. */
export function spoken(s) {
  if (s < 120) return t("speech.seconds", { n: whole.format(Math.floor(s / 10) * 10) });
  if (s < 7200) return t("speech.minutes", { n: whole.format(Math.floor(s / 60)) });
  return t("speech.hours", { n: whole.format(Math.floor(s / 3600)) });
}

/** A likely time [s] to the nearest step that is worth saying. */
export function likely(s) {
  if (s < 120) return t("time.s", { n: whole.format(Math.round(s / 5) * 5) });
  if (s < 7200) return t("time.min", { n: whole.format(Math.round(s / 60)) });
  return t("time.h", { n: tenth.format(s / 3600) });
}

/** A spread of times [s] as a range: outwards on both sides, so that it never says too much. */
export function range({ p05, p95 }) {
  if (p95 === null) return t("time.at_least", { a: p05 < 120 ? fiveSeconds(p05) : duration(p05) });
  if (p95 < 1) return t("time.now");
  if (p95 < 120) return pair("s", Math.floor(p05 / 5) * 5, Math.ceil(p95 / 5) * 5);
  if (p95 < 5400) {
    if (p05 < 60) return t("time.range_mixed", { a: fiveSeconds(p05), b: t("time.min", { n: Math.ceil(p95 / 60) }) });
    return pair("min", Math.floor(p05 / 60), Math.ceil(p95 / 60));
  }
  const low = Math.floor(p05 / 360) / 10;
  const high = Math.ceil(p95 / 360) / 10;
  return pair("h", low, high, tenth);
}

const fiveSeconds = (s) => t("time.s", { n: Math.floor(s / 5) * 5 });

function pair(unit, low, high, form = whole) {
  const [a, b] = [form.format(low), form.format(high)];
  return a === b ? t(`time.${unit}`, { n: a }) : t(`time.range_${unit}`, { a, b });
}

const clock = new Intl.DateTimeFormat(undefined, { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false });
export const timeOfDay = (ms) => clock.format(ms);
