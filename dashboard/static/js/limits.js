// A part's limits in one line of words.
import { degrees, integer, perHour } from "./format.js";
import { t } from "./words.js";

export function limitWords(limits) {
  const words = [
    ["preheat", limits.preheat_min_c, degrees],
    ["interpass", limits.interpass_max_c, degrees],
    ["cooling", limits.cooling_max_c_per_h, perHour],
    ["oxygen", limits.oxygen_max_ppm, integer],
  ].filter(([, value]) => value !== null).map(([name, value, form]) => t(`limits.${name}`, { v: form(value) }));
  return words.length ? words.join(" · ") : t("limits.none");
}
