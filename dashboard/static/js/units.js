// In which units this device shows numbers. What is kept, sent and judged stays in °C and L/min.

const KEY = "units";
const MIN_PER_H = 60;
/** The foot is 0.3048 m. */
const L_PER_FT3 = 28.316846592;

const SHOWN = {
  fahrenheit: {
    "°C": { unit: "°F", to: (c) => c * 1.8 + 32, from: (f) => (f - 32) / 1.8 },
    "°C/h": { unit: "°F/h", to: (c) => c * 1.8, from: (f) => f / 1.8 },
    K: { unit: "°F", to: (k) => k * 1.8, from: (f) => f / 1.8 },
  },
  "cubic feet": {
    "L/min": { unit: "ft³/h", to: (l) => (l * MIN_PER_H) / L_PER_FT3, from: (f) => (f * L_PER_FT3) / MIN_PER_H },
  },
};
export const TEMPERATURES = ["celsius", "fahrenheit"];
export const FLOWS = ["litres", "cubic feet"];

let chosen = kept();

function kept() {
  try {
    const words = JSON.parse(localStorage.getItem(KEY)) ?? [];
    return { temperature: TEMPERATURES.find((name) => words.includes(name)) ?? "celsius", flow: FLOWS.find((name) => words.includes(name)) ?? "litres" };
  } catch {
    return { temperature: "celsius", flow: "litres" }; // Forbidden or broken storage: the usual units.
  }
}

/** What is chosen on this device: {temperature, flow}. */
export const units = () => chosen;

/** Choose; whether that will be remembered. */
export function choose(change) {
  chosen = { ...chosen, ...change };
  try {
    localStorage.setItem(KEY, JSON.stringify(Object.values(chosen)));
    return true;
  } catch {
    return false;
  }
}

/** How a unit is shown: {unit, to, from}; one that is shown as it is converts nothing. */
export function scale(unit) {
  const same = (value) => value;
  return SHOWN[chosen.temperature]?.[unit] ?? SHOWN[chosen.flow]?.[unit] ?? { unit, to: same, from: same };
}

const usual = () => chosen.temperature === "celsius" && chosen.flow === "litres";

const NUMBER = "[-−]?\\d+(?:\\.\\d+)?";
/** "4 °C/h", "310 to 330 °C", "± 5 K", "8.0 l/min": numbers with a unit, as the service writes them. */
const FIGURE = new RegExp(`(${NUMBER})(?:( to )(${NUMBER}))? (°C/h|°C|K|[Ll]/min)(?![\\p{L}/])`, "gu");

/** A sentence of the service with its figures in the units of this device. */
export function said(text) {
  if (usual()) return text;
  return text.replace(FIGURE, (whole, low, between, high, unit) => {
    const shown = scale(unit === "l/min" ? "L/min" : unit);
    const figure = (digits) => {
      const decimals = shown.unit === "ft³/h" ? 0 : (digits.split(".")[1] ?? "").length;
      return shown.to(Number(digits.replace("−", "-"))).toFixed(decimals).replace("-", digits.includes("−") ? "−" : "-");
    };
    return `${figure(low)}${between ?? ""}${high ? figure(high) : ""} ${shown.unit}`;
  });
}

const SENTENCES = new Set(["text", "next", "reason", "reasons", "advice", "conflict", "set_aside", "arc_doubt"]);

/** An answer of the service with every sentence in it in the units of this device. */
export function told(answer) {
  return usual() ? answer : walk(answer, false);
}

function walk(value, sentence) {
  if (typeof value === "string") return sentence ? said(value) : value;
  if (Array.isArray(value)) return value.map((each) => walk(each, sentence));
  if (value === null || typeof value !== "object") return value;
  return Object.fromEntries(Object.entries(value).map(([name, each]) => [name, walk(each, SENTENCES.has(name))]));
}
