// Whether this device may change things. If it may only look, a bar says so and lets it sign in.
import { NotDone, onTurnedAway, post, pressed } from "./deeds.js";
import { h, setText, show } from "./dom.js";
import { closeSheet, openSheet } from "./sheet.js";
import { toast } from "./toasts.js";
import { t } from "./words.js";

const LONGEST = 12;
const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", "⌫", "0"];

export class Hand {
  #typed = "";

  constructor(bar) {
    this.bar = bar;
    this.words = h("p");
    this.button = h("button", { type: "button", class: "button", "data-action": "sign in", onclick: () => this.open() }, t("hand.sign_in"));
    bar.replaceChildren(this.words, this.button);
    onTurnedAway(() => this.ask());
    this.ask();
  }

  /** Ask the service what this device may do. */
  async ask() {
    try {
      const answer = await fetch("/api/v1/hand", { signal: AbortSignal.timeout(8000) });
      if (answer.ok) this.#show(await answer.json());
    } catch {
      // No answer: that is said larger elsewhere; asked again at the next deed that is refused.
    }
  }

  #show({ may_act: mayAct, pin_set: pinSet }) {
    show(this.bar, !mayAct);
    show(this.button, pinSet);
    setText(this.words, t(pinSet ? "hand.viewing" : "hand.no_pin"));
  }

  open() {
    this.#typed = "";
    this.dots = h("p", { class: "pin", "aria-live": "polite" });
    this.fault = h("p", { class: "fault", role: "alert", hidden: true });
    const key = (sign) => h("button", { type: "button", class: "button", "data-action": "pin key", "data-value": sign, "aria-label": sign === "⌫" ? t("hand.back") : sign, onclick: () => this.#key(sign) }, sign);
    this.enter = h("button", { type: "button", class: "button primary", "data-action": "enter pin", onclick: () => pressed(this.enter, () => this.#enter()) }, t("hand.enter"));
    const pad = h("div", { class: "keypad" }, ...KEYS.map(key), this.enter);
    pad.addEventListener("keydown", (event) => this.#typedKey(event));
    openSheet(t("hand.title"), "pin", h("p", { class: "note" }, t("hand.note")), this.dots, this.fault, pad);
    pad.firstElementChild.focus();
    this.#draw();
  }

  #typedKey(event) {
    if (/^[0-9]$/.test(event.key)) this.#key(event.key);
    else if (event.key === "Backspace") this.#key("⌫");
  }

  #key(sign) {
    this.#typed = sign === "⌫" ? this.#typed.slice(0, -1) : (this.#typed + sign).slice(0, LONGEST);
    this.fault.hidden = true;
    this.#draw();
  }

  #draw() {
    setText(this.dots, this.#typed ? "●".repeat(this.#typed.length) : t("hand.empty"));
  }

  async #enter() {
    try {
      this.#show(await post("/api/v1/sign-in", { pin: this.#typed }));
      closeSheet();
      toast(t("hand.signed_in"));
    } catch (error) {
      if (!(error instanceof NotDone)) throw error;
      this.fault.hidden = false;
      setText(this.fault, error.message);
    }
    this.#typed = "";
    this.#draw();
  }
}
