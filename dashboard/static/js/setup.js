// The parts, how this device shows things, who else is told, and what this device may do.
import { h, setText } from "./dom.js";
import { Outlets } from "./outlets.js";
import { View as Parts } from "./parts.js";
import { Procedures } from "./procedures.js";
import { tiles } from "./sheet.js";
import { choose, FLOWS, TEMPERATURES, units } from "./units.js";
import { sentence, t, t2 } from "./words.js";

const TIMEOUT_MS = 4000;

export class View {
  constructor(place, bench, openPart) {
    const parts = h("div", { id: "parts" });
    this.outlets = new Outlets();
    this.network = h("p", { class: "lead" });
    this.space = h("p", { class: "lead" }, t("setup.space_unknown"));
    place.replaceChildren(
      h("h1", {}, t("setup.title")), parts, new Procedures().element,
      h("h2", {}, t("setup.units")), h("p", { class: "note" }, t("setup.units_note")),
      h("h3", {}, t("setup.temperature")), this.#choice("temperature", TEMPERATURES),
      h("h3", {}, t("setup.flow")), this.#choice("flow", FLOWS),
      this.outlets.element,
      h("h2", {}, t("setup.space")), this.space, h("p", { class: "note" }, t("setup.space_note")),
      h("h2", {}, t("setup.network")), this.network, h("p", { class: "note" }, t("setup.network_note")));
    this.parts = new Parts(parts, bench, openPart);
    this.#askNetwork();
    this.#askSpace();
  }

  show(bench) {
    this.parts.show(bench);
    this.outlets.ask();
  }

  #choice(what, names) {
    const options = names.map((name) => ({ value: name, text: t2("setup.unit", name), more: t2("setup.unit_more", name), chosen: units()[what] === name }));
    return tiles(`show ${what}`, options, (name) => {
      if (units()[what] === name) return;
      choose({ [what]: name });
      location.reload(); // every figure on the page is made anew
    });
  }

  /** How long the disk lasts; a service that is not well says it too. */
  async #askSpace() {
    try {
      const answer = await fetch("/healthz", { signal: AbortSignal.timeout(TIMEOUT_MS) });
      const { space } = await answer.json();
      if (space) setText(this.space, sentence(`${space.text}.`));
    } catch {
      // No answer: that it is not known stays said.
    }
  }

  async #askNetwork() {
    let words = t("setup.network_unknown");
    try {
      const answer = await fetch("/api/v1/hand", { signal: AbortSignal.timeout(TIMEOUT_MS) });
      if (answer.ok) {
        const { may_act: mayAct, pin_set: pinSet } = await answer.json();
        words = t(`setup.network_${mayAct ? "may_act" : "may_look"}`) + " " + t(`setup.network_${pinSet ? "pin" : "no_pin"}`);
      }
    } catch {
      // No answer: it says so.
    }
    setText(this.network, words);
  }
}
