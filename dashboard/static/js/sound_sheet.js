// What can be heard and whether it can; whether the screen stays on.
import { h } from "./dom.js";
import { openSheet } from "./sheet.js";
import { t } from "./words.js";

const TUNES = ["danger", "above", "below", "fault", "cover", "closing", "ready"];

export function openSound(sounder, speaker, wake) {
  const state = h("p", { class: "lead" });
  const say = () => {
    state.textContent = t(sounder.state === "on" ? "sound.state_on" : sounder.state === "missing" ? "sound.missing" : "sound.state_off");
  };
  say();
  sounder.addEventListener("state", say);
  document.getElementById("sheet").addEventListener("close", () => sounder.removeEventListener("state", say), { once: true });
  const tests = TUNES.map((name) =>
    h("button", { type: "button", class: "tile", "data-action": "test sound", "data-value": name, onclick: () => { sounder.allow(); sounder.play(name); } }, h("strong", {}, t(`sound.${name}`))));
  const voice = h("button", { type: "button", class: "tile", "data-action": "speak", "aria-pressed": String(speaker.wanted) }, h("strong", {}, t("sound.speak")), h("span", {}, t("sound.speak_more")));
  voice.addEventListener("click", () => {
    speaker.turn(!speaker.wanted);
    voice.setAttribute("aria-pressed", String(speaker.wanted));
    if (!speaker.wanted) return;
    sounder.allow();
    speaker.after("ready", t("speech.sample"));
    sounder.play("ready");
  });
  openSheet(t("sound.title"), "sound", state, h("h3", {}, t("sound.test")), h("div", { class: "tiles" }, ...tests),
    h("h3", {}, t("sound.voice")), speaker.able ? h("div", { class: "tiles" }, voice) : h("p", {}, t("sound.voiceless")),
    h("p", {}, t("sound.host")), h("p", {}, t(wake.held ? "sound.wake_on" : "sound.wake_off")));
}
