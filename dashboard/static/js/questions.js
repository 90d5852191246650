// What the arc or the button leaves open: which part is meant. Nothing is guessed.
import { act, pressed } from "./deeds.js";
import { h, keyed, setAttribute, setText, shape } from "./dom.js";
import { t } from "./words.js";

export class Questions {
  #held = new Map();

  constructor(place) {
    this.place = place;
  }

  show(bench) {
    const asked = bench.questions ?? [];
    this.place.hidden = asked.length === 0;
    const named = (heatId) => bench.parts.find((part) => part.heat_id === heatId)?.name ?? "";
    keyed(this.place, this.#held, asked, (question) => question.id, () => make(named));
  }
}

function make(named) {
  const words = h("strong", { role: "alert" });
  const deeds = h("div", { class: "question-deeds" });
  const element = h("article", { class: "notice question" }, shape("v-unknown"), words, deeds);
  const update = (question) => {
    setAttribute(element, "data-question", question.kind);
    setText(words, question.text);
    const key = question.heat_ids.join();
    if (deeds.dataset.heats === key) return;
    deeds.dataset.heats = key;
    const answer = (heat_id, text) => {
      const button = h("button", { type: "button", class: "button", "data-action": "answer question", "data-heat-id": String(heat_id) }, text);
      button.addEventListener("click", () => pressed(button, () => act({ kind: "answer question", question_id: question.id, heat_id }, t("done.answered", { part: text }))));
      return button;
    };
    deeds.replaceChildren(...question.heat_ids.map((id) => answer(id, named(id))), answer(null, t("trip.none_of_them")));
  };
  return { element, update };
}
