// What somebody must be told about the records, until somebody has read it.
import { NotDone, post, pressed } from "./deeds.js";
import { h, keyed, setAttribute, setText, shape, show } from "./dom.js";
import { timeOfDay } from "./format.js";
import { toast } from "./toasts.js";
import { t } from "./words.js";

const EVERY_MS = 10_000;
const TIMEOUT_MS = 4000;

export class Notices {
  #held = new Map();
  #dueAt = 0;

  constructor(place) {
    this.place = place;
    new ResizeObserver(() => document.body.style.setProperty("--notices", `${place.offsetHeight}px`)).observe(place);
  }

  /** Ask, when it is time to. What is shown stays while there is no answer. */
  async pulse() {
    const now = performance.now();
    if (now < this.#dueAt) return;
    this.#dueAt = now + EVERY_MS;
    try {
      const answer = await fetch("/api/v1/notices", { signal: AbortSignal.timeout(TIMEOUT_MS) });
      if (answer.ok) this.#show((await answer.json()).notices);
    } catch {
      // No answer: that the service is silent is said larger elsewhere.
    }
  }

  #show(notices) {
    keyed(this.place, this.#held, notices, (notice) => notice.id, () => this.#make());
    show(this.place, notices.length > 0);
  }

  async #seen(id) {
    try {
      this.#show((await post(`/api/v1/notices/${id}/seen`, {})).notices);
    } catch (error) {
      if (!(error instanceof NotDone)) throw error;
      toast(error.message, { bad: true });
      this.#dueAt = 0; // It may be gone already: read at another page.
      await this.pulse();
    }
  }

  #make() {
    const title = h("strong");
    const text = h("p", { role: "alert" });
    const button = h("button", { type: "button", class: "button primary", "data-action": "notice seen" }, t("notice.seen"));
    const element = h("article", { class: "told" }, shape("i-mind"), h("div", {}, title, text), button);
    let id = null;
    button.addEventListener("click", () => pressed(button, () => this.#seen(id)));
    const update = (notice) => {
      id = notice.id;
      setAttribute(element, "data-notice-id", id);
      setText(title, t("notice.title", { time: timeOfDay(Date.parse(notice.at)) }));
      setText(text, notice.text);
      show(button, id !== 0);
    };
    return { element, update };
  }
}
