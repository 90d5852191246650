// Who else is told of alarms: how each way is doing, and a test notice by it.
import { NotDone, post, pressed } from "./deeds.js";
import { h, keyed, setAttribute, setText, show } from "./dom.js";
import { timeOfDay } from "./format.js";
import { toast } from "./toasts.js";
import { t, t2 } from "./words.js";

const EVERY_MS = 2000;
/** While a test notice is on its way. */
const SOON_MS = 500;

export class Outlets {
  #held = new Map();
  #due = 0;
  #soon = null;

  constructor() {
    this.rows = h("div", { class: "rows" });
    this.none = h("p", { class: "note" }, t("outlets.none"));
    this.element = h("section", { class: "outlets", hidden: true }, h("h2", {}, t("outlets.title")), this.none, this.rows);
  }

  /** Ask now and then; called with every new answer of the bench. */
  async ask() {
    const now = performance.now();
    if (now < this.#due) return;
    this.#due = now + EVERY_MS;
    await this.#look();
  }

  async #look() {
    try {
      const answer = await fetch("/api/v1/outlets", { signal: AbortSignal.timeout(EVERY_MS) });
      if (answer.ok) this.#show(await answer.json());
    } catch {
      // No answer: what is shown stays; that the service is silent is said larger elsewhere.
    }
  }

  #show({ outlets }) {
    show(this.element, true);
    show(this.none, outlets.length === 0);
    keyed(this.rows, this.#held, outlets, (outlet) => outlet.key, () => this.#make());
    if (!outlets.some((outlet) => outlet.trial?.state === "waiting")) return;
    clearTimeout(this.#soon);
    this.#soon = setTimeout(() => this.#look(), SOON_MS);
  }

  #make() {
    const name = h("strong");
    const health = h("span");
    const error = h("span");
    const trial = h("span", { role: "status" });
    const deed = h("button", { type: "button", class: "button", "data-action": "try outlet" }, t("outlets.try"));
    const element = h("article", { class: "row" }, h("div", { class: "row-words" }, name, health, error, trial), deed);
    let key = null;
    deed.addEventListener("click", () => pressed(deed, () => this.#try(key)));
    const update = (outlet) => {
      key = outlet.key;
      const state = stateOf(outlet);
      setAttribute(element, "data-outlet", key);
      setAttribute(element, "data-state", state);
      setText(name, t2("outlets.name", key));
      setText(health, [t(`outlets.state.${state}`), ...counts(outlet)].join(" · "));
      show(error, outlet.last_error !== null);
      setText(error, outlet.last_error === null ? "" : t(state === "failing" ? "outlets.error" : "outlets.error_before", { why: outlet.last_error }));
      show(trial, outlet.trial !== null);
      setAttribute(trial, "data-trial", outlet.trial?.state ?? null);
      if (outlet.trial) setText(trial, t(`outlets.trial.${outlet.trial.state}`, { time: timeOfDay(Date.parse(outlet.trial.at)), text: outlet.trial.text }));
    };
    return { element, update };
  }

  async #try(key) {
    try {
      this.#show(await post(`/api/v1/outlets/${key}/try`, {}));
    } catch (error) {
      if (!(error instanceof NotDone)) throw error;
      toast(error.message, { bad: true });
    }
  }
}

/** Nobody knows of an outlet that has not been used yet whether it works. */
function stateOf({ running, working }) {
  if (!running) return "ended";
  return working === null ? "untried" : working ? "working" : "failing";
}

function counts(outlet) {
  return ["told", "waiting", "failed", "dropped"].filter((what) => what === "told" || outlet[what] > 0).map((what) => t(`outlets.count.${what}`, { n: outlet[what] }));
}
