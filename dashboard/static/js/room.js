// The air of the shop, in sight whichever part is shown: no more than a supplement to ventilation,
// and it says so. Without a live reading it is unknown.
import { h, keyed, setAttribute, setText, shape } from "./dom.js";
import { NONE, oneDecimal } from "./format.js";
import { t, t2 } from "./words.js";

const SHAPES = { normal: "v-unjudged", low: "a-danger", high: "a-danger", unknown: "v-unknown" };

export class Room {
  #held = new Map();

  constructor(place) {
    this.place = place;
  }

  show(room) {
    keyed(this.place, this.#held, room ?? [], (air) => air.channel, makeAir);
  }

  /** Nothing is live any more. */
  lose() {
    for (const row of this.#held.values()) row.update({ channel: row.channel, standing: "unknown", oxygen_percent: null, reason: t("link.lost") });
  }
}

function makeAir() {
  const picture = shape("v-unknown");
  const name = h("strong");
  const value = h("b", { class: "live" });
  const words = h("span", { class: "air-words" });
  const element = h("article", { class: "air" }, picture, name, value, words, h("span", { class: "air-note" }, t("room.note")));
  const row = { element, channel: null };
  row.update = (air) => {
    row.channel = air.channel;
    // Anything this page does not know is doubt, and doubt is never normal.
    const standing = air.standing in SHAPES ? air.standing : "unknown";
    setAttribute(element, "data-channel", air.channel);
    setAttribute(element, "data-standing", standing);
    setAttribute(picture.firstChild, "href", `#${SHAPES[standing]}`);
    setText(name, t("room.title"));
    setAttribute(name, "title", air.channel);
    setText(value, air.oxygen_percent === null ? NONE : t("room.oxygen", { percent: oneDecimal(outwards(air)) }));
    const why = standing === "unknown" && air.reason ? `: ${air.reason}` : "";
    setText(words, t2("room.standing", standing) + why);
  };
  return row;
}

/** Rounded away from the limits, so that 19.46 % beside "below 19.5 %" does not read 19.5 %. */
function outwards({ standing, oxygen_percent: percent }) {
  if (standing === "low") return Math.floor(percent * 10) / 10;
  return standing === "high" ? Math.ceil(percent * 10) / 10 : percent;
}
