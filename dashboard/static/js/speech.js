// Says in words what a chime was about, after the chime, where the browser can speak.

const AGAIN_MS = 16_000;
/** A voice that never reports its end must not keep the chime waiting. */
const LONGEST_MS = 9000;

/** Sounds that say one thing once, and are no alarms. */
const ONCE = new Set(["ready", "cover", "closing"]);

export class Speaker extends EventTarget {
  #lines = [];
  #known = new Set();
  #fresh = false;
  #once = null;
  #saidAt = -Infinity;
  #busyUntil = 0;
  #timer = null;
  #voice = globalThis.speechSynthesis && globalThis.SpeechSynthesisUtterance ? globalThis.speechSynthesis : null;

  constructor(sounder) {
    super();
    this.wanted = kept("speech") !== "off";
    sounder.addEventListener("played", ({ name, ms }) => this.#after(name, ms));
    sounder.hold = () => performance.now() < this.#busyUntil;
    addEventListener("pagehide", () => this.#hush());
  }

  /** Whether this browser speaks at all. */
  get able() {
    return this.#voice !== null && this.#voice.getVoices().length > 0;
  }

  turn(on) {
    this.wanted = on;
    keep("speech", on ? "on" : "off");
    if (!on) this.#hush();
  }

  /** What the alarms that call would say, the gravest first: [{id, text}]. None ends the speech. */
  want(lines) {
    const ids = new Set(lines.map((line) => line.id));
    const fresh = lines.some((line) => !this.#known.has(line.id));
    if (fresh || (lines.length === 0 && this.#lines.length > 0)) this.#hush();
    this.#lines = lines;
    this.#known = ids;
    this.#fresh ||= fresh;
  }

  /** Something to be said once, after the next chime of this name. */
  after(name, text) {
    this.#once = { name, text };
  }

  #after(name, ms) {
    this.#hush();
    const text = this.#once?.name === name ? this.#once.text : this.#alarm(name);
    this.#once = null;
    if (!text || !this.wanted || !this.#voice) return;
    this.#busyUntil = performance.now() + ms + LONGEST_MS;
    this.#timer = setTimeout(() => this.#say(text), ms);
  }

  #alarm(name) {
    const now = performance.now();
    if (ONCE.has(name) || this.#lines.length === 0) return null;
    if (!this.#fresh && now - this.#saidAt < AGAIN_MS) return null;
    this.#fresh = false;
    this.#saidAt = now;
    return this.#lines[0].text;
  }

  #say(text) {
    const speech = new SpeechSynthesisUtterance(plain(text));
    speech.lang = document.documentElement.lang;
    const done = () => {
      this.#busyUntil = 0;
    };
    for (const end of ["end", "error"]) speech.addEventListener(end, done);
    this.#voice.speak(speech);
  }

  #hush() {
    clearTimeout(this.#timer);
    this.#busyUntil = 0;
    this.#voice?.cancel();
  }
}

/** "bench/joint-left" is said as "bench joint left". */
const plain = (text) => text.replace(/[/_-]+/g, " ");

function kept(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null; // Forbidden storage only means that the choice is not kept.
  }
}

function keep(name, value) {
  try {
    localStorage.setItem(name, value);
  } catch {
    // As above.
  }
}
