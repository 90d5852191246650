// A part's limits in one line of words.
import { integer } from "./format.js";
import { t } from "./words.js";

export function limitWords(limits) {
  const words = [
    ["preheat", limits.preheat_min_c],
    ["interpass", limits.interpass_max_c],
    ["cooling", limits.cooling_max_c_per_h],
    ["oxygen", limits.oxygen_max_ppm],
  ].filter(([, value]) => value !== null).map(([name, value]) => t(`limits.${name}`, { v: integer(value) }));
  return words.length ? words.join(" · ") : t("limits.none");
}
