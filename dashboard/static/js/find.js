// Finding a heat among all on record: by words, by date, by what was not as the limits say.
import { h, setText, show } from "./dom.js";
import { CRACKED, ROOT } from "./outcome.js";
import { t, t2 } from "./words.js";

const SETTLED_MS = 300;
const PAGE = 60;

export class Find {
  #heats = [];
  #next = null;
  #due = null;
  #asked = 0;

  /** ``ask`` fetches JSON and says what went wrong; ``row`` makes the row of a heat. */
  constructor(ask, row) {
    this.ask = ask;
    this.row = row;
    const soon = () => {
      clearTimeout(this.#due);
      this.#due = setTimeout(() => this.look(), SETTLED_MS);
    };
    const field = (id, type, more = {}) => h("input", { id, type, autocomplete: "off", oninput: soon, ...more });
    this.search = field("find-heat", "search", { placeholder: t("records.find_more") });
    this.from = field("find-from", "date");
    this.to = field("find-to", "date");
    this.deviation = field("find-deviation", "search", { placeholder: t("find.deviation_more") });
    const choice = (value, text) => h("option", { value }, text);
    this.outcome = h("select", { id: "find-outcome", onchange: () => this.look() }, choice("", t("find.any_outcome")), choice("cracked", t("find.cracked")), choice("not said", t("find.not_said")), ...CRACKED.map((each) => choice(each, t2("outcome.cracked", each))), ...ROOT.map((each) => choice(each, t("outcome.root_is", { how: t2("outcome.root", each) }))));
    const labelled = (input, key) => h("div", {}, h("label", { for: input.id }, t(`find.${key}`)), input);
    this.ways = h("details", { class: "heat-table find-ways" }, h("summary", {}, t("find.more_ways")), h("div", { class: "find-fields" }, labelled(this.from, "from"), labelled(this.to, "to"), labelled(this.deviation, "deviation"), labelled(this.outcome, "outcome")));
    this.none = h("div", { class: "empty", hidden: true }, h("h2", {}, t("records.none")), h("p", {}, t("records.none_more")));
    this.rows = h("div", { class: "rows" });
    this.state = h("p", { class: "note", role: "status", hidden: true });
    this.older = h("button", { type: "button", class: "button", "data-action": "older heats", hidden: true, onclick: () => this.#further() }, t("find.older"));
    this.head = [h("label", { for: "find-heat" }, t("records.find")), this.search, this.ways, this.none];
    this.foot = [this.rows, this.state, this.older];
  }

  /** Ask for the newest that fit. */
  async look() {
    const nth = (this.#asked += 1);
    const found = await this.#fetch(null);
    if (found && nth === this.#asked) this.#show(found.heats, found.next);
    // What has to be worked out heat by heat comes in pieces: go on while somebody may look.
    while (found && nth === this.#asked && this.#wanting()) await this.#further(nth);
  }

  /** Ask again, unless somebody has gone further back in the list. */
  refresh() {
    if (this.#heats.length <= PAGE && !this.#wanting()) this.look();
  }

  #wanting() {
    return this.#slow() && this.#next !== null && this.#heats.length < PAGE && this.rows.isConnected && !this.rows.closest("[hidden]");
  }

  /** What is asked for is found page by page, and there may be pages without any. */
  #slow() {
    return this.deviation.value.trim() !== "" || this.outcome.value !== "";
  }

  async #further(nth = this.#asked) {
    const found = await this.#fetch(this.#next);
    if (nth !== this.#asked) return;
    if (found) this.#show([...this.#heats, ...found.heats], found.next);
    else this.#next = null;
  }

  #fetch(before) {
    const asked = new URLSearchParams({ most: PAGE });
    const say = (name, text) => text && asked.set(name, text);
    say("words", this.search.value.trim());
    say("deviation", this.deviation.value.trim());
    say("outcome", this.outcome.value);
    say("from", this.from.value && midnight(this.from.value, 0));
    say("to", this.to.value && midnight(this.to.value, 1));
    say("before", before);
    return this.ask(`/api/v1/heats/find?${asked}`);
  }

  #show(heats, next) {
    this.#heats = heats;
    this.#next = next;
    const narrowed = [this.search, this.from, this.to, this.deviation, this.outcome].some((input) => input.value.trim() !== "");
    show(this.none, heats.length === 0 && !narrowed);
    this.rows.replaceChildren(...heats.map(this.row));
    if (heats.length === 0 && narrowed && next === null) this.rows.replaceChildren(h("p", { class: "note" }, t("records.not_found")));
    show(this.older, next !== null);
    const looking = next !== null && this.#slow();
    show(this.state, looking);
    if (looking) setText(this.state, t("find.looked", { n: next }));
  }
}

/** The begin of a day, or of one some days later, by this device's clock. */
function midnight(text, later) {
  const [year, month, day] = text.split("-").map(Number);
  return new Date(year, month - 1, day + later).toISOString();
}
