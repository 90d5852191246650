// What is usual for a casting metal, with its source beside it, and the checks of an iron nobody knows.
import { h } from "./dom.js";
import { degrees } from "./format.js";
import { said } from "./units.js";
import { t, t2 } from "./words.js";

const TIMEOUT_MS = 4000;

export class MetalGuide {
  #metal = "";
  #method = null;
  #known = null;
  #failed = false;

  /** take(limits, row) is called when somebody asks for a row's figures; nothing is set before. */
  constructor(take) {
    this.take = take;
    this.element = h("section", { class: "metal-guide", "aria-live": "polite" });
    this.#ask();
  }

  show(metal, method) {
    this.#metal = metal;
    this.#method = method;
    this.#draw();
  }

  async #ask() {
    try {
      const answer = await fetch("/api/v1/metals", { signal: AbortSignal.timeout(TIMEOUT_MS) });
      if (answer.ok) this.#known = await answer.json();
    } catch {
      // No answer: the guide says so; the form works without it.
    }
    this.#failed = this.#known === null;
    this.#draw();
  }

  #draw() {
    const row = this.#known?.metals.find((each) => each.metal === this.#metal);
    if (!row) {
      this.element.replaceChildren(this.#failed ? h("p", { class: "note" }, t("metal_guide.no_answer")) : "");
      return;
    }
    const cold = this.#method === "cold";
    const limits = cold ? { interpass_max_c: row.cold_interpass_max_c } : { preheat_min_c: row.preheat_c?.[0] ?? null, interpass_max_c: row.interpass_max_c };
    const any = Object.values(limits).some((value) => value !== null);
    this.element.replaceChildren(
      h("h4", {}, t("metal_guide.usual", { metal: t2("metal", row.metal), method: t2("parts.method", cold ? "cold" : "hot") })),
      ...this.#words(row, cold).map((text) => h("p", {}, text)),
      h("p", { class: "note" }, ...this.#source(row, cold), " ", this.#known.defers_to),
      any ? h("button", { type: "button", class: "button", "data-action": "take usual", onclick: () => this.take(limits, row) }, t("metal_guide.take", { what: takes(limits) })) : "",
      ...(row.metal === "iron, unknown" ? this.#checks() : []));
  }

  /** The row's source says itself how well it is known; the cold method has a standing of its own. */
  #source(row, cold) {
    if (!cold) return [t("metal_guide.said_by", { source: row.source })];
    return row.cold_method ? [t("metal_guide.cold_known", { known: t2("metal_guide.known", row.cold_known) })] : [t("metal_guide.said_by", { source: row.source })];
  }

  #words(row, cold) {
    if (cold) return [row.cold_method ? t("metal_guide.cold", { how: said(row.cold_method), limit: limit(row.cold_interpass_max_c) }) : t("metal_guide.no_cold")];
    const preheat = row.preheat_c ? t("metal_guide.preheat", { low: degrees(row.preheat_c[0]), high: degrees(row.preheat_c[1]) }) : t("metal_guide.no_preheat");
    return [`${preheat} ${limit(row.interpass_max_c)}`, t("metal_guide.cooling", { how: said(row.cooling) }), t("metal_guide.caution", { what: said(row.caution) })];
  }

  #checks() {
    return [h("h4", {}, t("metal_guide.checks")), ...this.#known.checks.map((check) =>
      h("details", { class: "check", "data-check": check.name },
        h("summary", {}, t2("metal_guide.check", check.name)),
        h("p", {}, check.how),
        h("p", {}, h("strong", {}, t("metal_guide.tells")), " ", check.tells),
        h("p", {}, h("strong", {}, t("metal_guide.tells_not")), " ", check.tells_not),
        h("p", { class: "note" }, t("metal_guide.source", { source: check.source, known: t2("metal_guide.known", check.known) }))))];
  }
}

const limit = (value) => (value === null ? t("metal_guide.no_interpass") : t("metal_guide.interpass", { high: degrees(value) }));

function takes(limits) {
  return Object.entries(limits).filter(([, value]) => value !== null).map(([name, value]) => `${t(`parts.${name}`)} ${degrees(value)}`).join(", ");
}
