// A reading taken by hand: how, where, and how much; and, where both sides cannot be kept, who governs.
import { act, pressed } from "./deeds.js";
import { h } from "./dom.js";
import { closeSheet, openSheet, tiles } from "./sheet.js";
import { Fault, Stepper } from "./stepper.js";
import { t, t2 } from "./words.js";

const CELSIUS = { unit: "°C", min: -50, max: 1400, least: true, steps: [25, 1], rounds: [100, 150, 204, 260, 316] };
const METHODS = {
  "crayon melted": CELSIUS,
  "crayon not melted": CELSIUS,
  "contact probe": CELSIUS,
  infrared: CELSIUS,
  "ball meter": { unit: "L/min", min: 0, max: 300, least: true, steps: [1, 0.5], rounds: [0, 5, 8, 12, 20] },
};
const PLACES = ["joint", "flange", "tube"];

/** Ask how it was taken, then how much. */
export function openByHand(part) {
  const options = Object.keys(METHODS).map((method) => ({ value: method, text: t2("by_hand_method", method) }));
  openSheet(t("by_hand.title", { part: part.name }), "by hand", h("p", { class: "note" }, t("by_hand.note")), tiles("choose method", options, (method) => openAmount(part, method)));
}

function openAmount(part, method) {
  const amount = new Stepper({ ...METHODS[method], name: "by_hand", text: t2("by_hand_method", method), value: null });
  const where = (place, button) => pressed(button, async () => {
    let value;
    try {
      value = amount.read();
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      return;
    }
    if (value === null) return amount.input.focus();
    const done = await act({ kind: "enter reading", part_id: part.id, method, value, place }, t("by_hand.done", { part: part.name }));
    if (done) closeSheet();
  });
  const places = method === "ball meter" ? [{ value: "joint", text: t("by_hand.enter") }] : PLACES.map((place) => ({ value: place, text: t2("by_hand_place", place) }));
  openSheet(t("by_hand.title", { part: part.name }), "by hand amount", amount.element, h("h3", {}, t(method === "ball meter" ? "by_hand.go" : "by_hand.where")), tiles("enter reading", places, where));
}

/** Ask which side of the joint governs. */
export function openGoverning(part) {
  const { in_force: _, ...limits } = part.limits;
  const options = ["casting", "tube"].map((side) => ({ value: side, text: t2("by_hand_side", side), chosen: part.limits.governing_side === side }));
  openSheet(t("by_hand.governs", { part: part.name }), "governing side", h("p", { class: "note" }, part.limits.in_force?.conflict ?? ""), tiles("choose side", options, (side, button) => pressed(button, async () => {
    const done = await act({ kind: "set limits", part_id: part.id, limits: { ...limits, governing_side: side } }, t("done.set limits", { part: part.name }));
    if (done) closeSheet();
  })));
}
