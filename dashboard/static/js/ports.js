// Serial ports of the service's machine: those nobody reads yet, and those taken in here.
import { NotDone, post, pressed } from "./deeds.js";
import { h, keyed, setAttribute, setText, show } from "./dom.js";
import { closeSheet, openSheet, tiles } from "./sheet.js";
import { toast } from "./toasts.js";
import { t, t2 } from "./words.js";

const EVERY_MS = 2000;
const PROFILES = ["senml", "name=value", "csv"];
const BAUDS = [9600, 19200, 38400, 57600, 115200, 230400, 921600];
const USUAL_BAUD = 115200;

export class Ports {
  #held = new Map();
  #due = 0;

  constructor() {
    this.title = h("h2", {}, t("ports.title"));
    this.rows = h("div", { class: "rows" });
    show(this.title, false);
  }

  /** Ask now and then. */
  async ask() {
    const now = performance.now();
    if (now < this.#due) return;
    this.#due = now + EVERY_MS;
    try {
      const answer = await fetch("/api/v1/ports", { signal: AbortSignal.timeout(EVERY_MS) });
      if (answer.ok) this.#show(await answer.json());
    } catch {
      // No answer: what is shown stays; that the service is silent is said larger elsewhere.
    }
  }

  #show({ unused, adopted }) {
    const rows = [...unused.map((port) => ({ ...port, free: true })), ...adopted.map((port) => ({ ...port, name: port.port, free: false }))];
    show(this.title, rows.length > 0);
    keyed(this.rows, this.#held, rows, (port) => port.name, () => this.#make());
  }

  #make() {
    const name = h("strong");
    const about = h("span");
    const deed = h("button", { type: "button", class: "button" });
    const element = h("article", { class: "row" }, h("div", { class: "row-words" }, name, about), deed);
    let port = null;
    deed.addEventListener("click", () => (port.free ? this.#choose(port) : this.#release(port, deed)));
    const update = (fresh) => {
      port = fresh;
      setAttribute(element, "data-port", port.name);
      setAttribute(deed, "data-action", port.free ? "adopt port" : "release port");
      deed.classList.toggle("primary", port.free);
      setText(name, port.free ? port.description : port.name);
      setText(about, port.free ? t("ports.free", { name: port.name }) : t("ports.taken", { profile: t2("ports.profile", port.profile), baud: port.baud }));
      setText(deed, t(port.free ? "ports.adopt" : "ports.release"));
    };
    return { element, update };
  }

  /** What the lines carry, then how fast they come. */
  #choose(port) {
    const options = PROFILES.map((profile) => ({ value: profile, text: t2("ports.profile", profile), more: t2("ports.profile_more", profile) }));
    openSheet(t("ports.profile_title", { port: port.description }), "port profile", h("p", { class: "note" }, t("ports.profile_note")), tiles("choose profile", options, (profile) => this.#chooseBaud(port, profile)));
  }

  #chooseBaud(port, profile) {
    const options = BAUDS.map((baud) => ({ value: baud, text: String(baud), hint: baud === USUAL_BAUD ? t("ports.baud_usual") : null }));
    openSheet(t("ports.baud_title"), "port baud", h("p", { class: "note" }, t("ports.baud_note")), tiles("choose baud", options, (baud, button) =>
      pressed(button, async () => {
        await this.#do("adopt", { port: port.name, profile, baud }, t("ports.adopted", { port: port.description }));
        closeSheet();
      })));
  }

  #release(port, button) {
    return pressed(button, () => this.#do("release", { port: port.name }, t("ports.released", { port: port.name })));
  }

  async #do(what, body, said) {
    try {
      this.#show(await post(`/api/v1/ports/${what}`, body));
      toast(said);
    } catch (error) {
      if (!(error instanceof NotDone)) throw error;
      toast(error.message, { bad: true });
    }
  }
}
