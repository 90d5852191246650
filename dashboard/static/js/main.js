// Brings the page to life: the link to the service, the views, sound, theme and clock.
import { Alarms } from "./alarms.js";
import { Closing } from "./closing.js";
import { onDone } from "./deeds.js";
import { keyed, setAttribute, setText, show } from "./dom.js";
import { duration, spoken, timeOfDay } from "./format.js";
import { embedded, Link } from "./link.js";
import { Notices } from "./notices.js";
import { Panel } from "./panel.js";
import { Questions } from "./questions.js";
import { Room } from "./room.js";
import { soundClass, Sounder } from "./sound.js";
import { Speaker } from "./speech.js";
import { forgetInks } from "./strip.js";
import { toast } from "./toasts.js";
import { coverDue } from "./trip.js";
import { Turns } from "./turn.js";
import { Guide, Waiting } from "./waiting.js";
import { t } from "./words.js";

const at = (id) => document.getElementById(id);
const views = ["bench", "plan", "records", "sensors", "setup"];
/** Places on a view that have an address of their own. */
const within = { parts: "setup" };
const later = { plan: null, records: null, sensors: null, setup: null };
const panels = new Map();
const wasReady = new Map();

const link = new Link(new URL("./pulse.js", import.meta.url), document.documentElement.dataset.page);
const sounder = new Sounder();
const speaker = new Speaker(sounder);
const alarms = new Alarms(at("alarms"), at("announce"));
const guide = new Guide(at("guide"), openPart);
const notices = new Notices(at("notices"));
const room = new Room(at("room"));
const questions = new Questions(at("questions"));
const lastArc = new Map();
const closing = new Closing();
const turns = new Turns(at("turn"));
const waiting = new Waiting(at("waiting"), openPart);
let quietened = false;

// What this device may do is asked once the verdicts stand.
import("./hand.js").then(({ Hand }) => new Hand(at("hand")));

// Live ----------------------------------------------------------------------------------------

link.addEventListener("bench", render);

function render() {
  const { bench } = link;
  show(at("loading"), false);
  const hot = bench.parts.filter((part) => part.heat_id !== null);
  for (const painted of document.querySelectorAll(".first")) painted.remove();
  const make = () => {
    const panel = new Panel(openPart);
    return { element: panel.element, update: (part) => panel.show(part, link.bench), panel, close: () => panel.close() };
  };
  keyed(at("panels"), panels, hot, (part) => part.id, make);
  setAttribute(at("panels"), "data-count", Math.min(hot.length, 3));
  alarms.show(bench);
  questions.show(bench);
  room.show(bench.room);
  guide.show(bench);
  waiting.show(bench);
  later[view()]?.show(bench);
  chime(hot, turns.show(bench));
  coverClock(hot);
  closingClock(hot);
  recording(bench.recording);
  setText(at("clock"), timeOfDay(Date.parse(bench.at)));
  setAttribute(at("clock"), "datetime", bench.at);
  const calling = alarms.calling.length;
  document.title = calling ? t("page.title_alarm", { n: calling }) : t("page.title");
}

link.addEventListener("state", () => {
  document.body.dataset.link = link.state;
  if (link.state === "live") {
    quietened = false;
    render(); // An unchanged answer sends nothing to show, and the panels still say "lost".
  }
  silence();
  listen();
});

link.addEventListener("pulse", () => {
  if (link.state === "lost" || link.state === "stalled") silence();
  listen();
  sounder.pulse();
  if (link.everGood) notices.pulse();
});

link.addEventListener("newpage", () => {
  if (!at("sheet").open) location.reload();
});

/** Nothing is live: grey, and say so in words, everywhere. */
function silence() {
  const out = link.state === "lost" || link.state === "stalled";
  show(at("lost"), out);
  if (!out) return;
  const age = duration(link.silence() / 1000);
  const title = t(`link.${link.state}`);
  setText(at("lost-title"), title);
  setText(at("lost-more"), link.everGood ? t(`link.${link.state}_more`, { age }) : t("link.never"));
  for (const { panel } of panels.values()) panel.lose(link.silence(), title);
  room.lose();
  turns.lose();
  alarms.lose();
  setText(at("recording"), "");
}

function recording(on) {
  at("recording").dataset.recording = on;
  setText(at("recording"), t(on ? "tools.recording" : "tools.not_recording"));
}

// Sound ---------------------------------------------------------------------------------------

function listen() {
  const classes = alarms.calling.map((alarm) => soundClass(alarm.kind));
  const lines = alarms.spoken;
  if (!quietened && (link.state === "lost" || link.state === "stalled")) {
    classes.push("fault");
    lines.unshift({ id: link.state, text: `${t(`link.${link.state}`)}.` });
  }
  speaker.want(lines);
  sounder.want(classes);
}

/** A chime when a part becomes ready, or it is another one's turn; never over an alarm. */
function chime(hot, turn) {
  const fresh = [];
  for (const part of hot) {
    const ready = part.verdict === "ready";
    if (ready && wasReady.get(part.id) === false) fresh.push(part);
    wasReady.set(part.id, ready);
  }
  for (const id of wasReady.keys()) if (!hot.some((part) => part.id === id)) wasReady.delete(id);
  if ((fresh.length === 0 && !turn) || alarms.calling.length > 0) return;
  speaker.after("ready", turn ?? fresh.map(readyWords).join(" "));
  sounder.play("ready");
}

/** From the last arc to the cover is what cracks castings: the time is said aloud. */
function coverClock(hot) {
  const due = hot.map((part) => coverDue(lastArc.get(part.id), part)).filter(Boolean);
  for (const part of hot) lastArc.set(part.id, part.trip?.last_arc_s ?? null);
  if (due.length === 0 || alarms.calling.length > 0) return;
  speaker.after("cover", due.join(" "));
  sounder.play("cover");
}

/** The window closes soon: a figure he can plan the next bead by. */
function closingClock(hot) {
  const due = closing.due(hot);
  if (due.length === 0 || alarms.calling.length > 0) return;
  speaker.after("closing", due.join(" "));
  sounder.play("closing");
}

function readyWords({ name, heat }) {
  const closes = heat.window.closes_in_s;
  const what = closes ? t("speech.ready_for", { time: spoken(closes.p05) }) : t("speech.ready");
  return t("speech.part", { part: name, what });
}

function soundState() {
  document.body.dataset.sound = sounder.state;
  setText(at("sound-text"), t(`tools.sound_${sounder.state}`));
  setAttribute(at("sound").querySelector("use"), "href", sounder.state === "on" ? "#i-sound" : "#i-mute");
  listen();
}
sounder.addEventListener("state", soundState);
sounder.addEventListener("played", ({ name }) => {
  document.body.dataset.played = name;
});
at("lost-quiet").addEventListener("click", () => {
  quietened = true;
  listen();
});
let pressedWhile = "on";
for (const kind of ["pointerdown", "keydown"]) at("sound").addEventListener(kind, () => (pressedWhile = sounder.state), { capture: true });
at("sound").addEventListener("click", async () => {
  // A silent page is cured by the tap alone; what can be heard is the next tap's business.
  sounder.allow();
  if (pressedWhile === "blocked") return;
  const sheet = await brought(import("./sound_sheet.js"));
  sheet?.openSound(sounder, speaker, wake);
});

// Screen --------------------------------------------------------------------------------------

const wake = { held: false };
async function keepAwake() {
  if (document.visibilityState !== "visible" || !navigator.wakeLock) return;
  try {
    const lock = await navigator.wakeLock.request("screen");
    wake.held = true;
    lock.addEventListener("release", () => {
      wake.held = false;
    });
  } catch {
    wake.held = false; // Said in the sound and screen sheet.
  }
}
document.addEventListener("visibilitychange", keepAwake);
keepAwake();

const THEMES = ["auto", "light", "dark"];
function setTheme(theme) {
  document.documentElement.dataset.theme = theme;
  setText(at("theme-text"), t(`tools.theme_${theme}`));
  try {
    localStorage.setItem("theme", theme);
  } catch {
    // Forbidden storage only means that the choice is not kept.
  }
  forgetInks();
  for (const { panel } of panels.values()) panel.draw(link.state === "live");
}
at("theme").addEventListener("click", () => {
  setTheme(THEMES[(THEMES.indexOf(document.documentElement.dataset.theme) + 1) % THEMES.length]);
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", forgetInks);

// Views ---------------------------------------------------------------------------------------

function view() {
  const [wanted] = location.hash.slice(1).split("/");
  const found = within[wanted] ?? wanted;
  return views.includes(found) ? found : "bench";
}

async function turn() {
  const now = view();
  for (const name of views) show(at(name), name === now);
  for (const tab of document.querySelectorAll(".tab")) setAttribute(tab, "aria-current", tab.dataset.tab === now ? "page" : null);
  if (now !== "bench" && !later[now]) {
    const module = await brought(import(`./${now}.js`));
    if (module) later[now] ??= new module.View(at(now), () => link.bench, openPart);
  }
  if (link.bench) later[now]?.show(link.bench);
  if (location.hash === "#waiting") at("waiting").scrollIntoView();
  else scrollTo(0, 0);
}
addEventListener("hashchange", turn);

/** Open the form for a part, or for a new one. */
async function openPart(id) {
  const form = await brought(import("./part_form.js"));
  form?.openPartForm(id, link.bench);
}

/** A module that is fetched when it is wanted; null, and a word about it, when it cannot be had. */
async function brought(module) {
  try {
    return await module;
  } catch {
    toast(t("done.failed"), { bad: true });
    return null;
  }
}

at("stuck").remove();
onDone(() => link.nudge());
setTheme(document.documentElement.dataset.theme);
soundState();
turn();
link.start(embedded());
