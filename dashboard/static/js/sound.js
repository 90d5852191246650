// Sounds made here, one shape of melody per class of alarm, repeated until acknowledged.

const REPEAT_MS = 4000;

/** Notes as [start s, length s, frequency Hz]; the wave decides how hard it cuts through noise. */
const TUNES = {
  danger: { wave: "square", gain: 0.5, notes: [0, 1, 2, 3, 4, 5].map((i) => [i * 0.2, 0.17, i % 2 ? 1245 : 932]) },
  below: { wave: "square", gain: 0.4, notes: [[0, 0.3, 1047], [0.34, 0.3, 784], [0.68, 0.5, 523]] },
  above: { wave: "square", gain: 0.4, notes: [[0, 0.3, 523], [0.34, 0.3, 784], [0.68, 0.5, 1047]] },
  fault: { wave: "sawtooth", gain: 0.5, notes: [[0, 0.45, 220], [0.6, 0.45, 220]] },
  cover: { wave: "sine", gain: 0.6, notes: [[0, 0.35, 784], [0.4, 0.35, 784], [0.8, 0.8, 587]] },
  closing: { wave: "triangle", gain: 0.7, notes: [[0, 0.18, 988], [0.24, 0.18, 880], [0.48, 0.18, 784], [0.72, 0.5, 659]] },
  ready: { wave: "sine", gain: 0.6, notes: [[0, 0.5, 659], [0.3, 0.9, 988]] },
};

const CLASS_OF = {
  "room oxygen": "danger",
  "purge lost": "danger",
  "cooling too fast": "danger",
  "below preheat": "below",
  "above interpass": "above",
};
const ORDER = ["danger", "above", "below", "fault"];

/** Which sound, and which outline, an alarm kind has. */
export const soundClass = (kind) => CLASS_OF[kind] ?? "fault";

export class Sounder extends EventTarget {
  #context = null;
  #voice = null;
  #wanted = [];
  #turn = 0;
  #lastAt = -Infinity;
  state = "blocked";
  /** Whether the next repetition waits: while somebody speaks. */
  hold = () => false;

  constructor() {
    super();
    if (!globalThis.AudioContext) {
      this.state = "missing";
      return;
    }
    this.#context = new AudioContext();
    this.#context.addEventListener("statechange", () => this.#look());
    this.#look();
    // Any touch of the page is leave to sound; the notice only speeds it up.
    for (const kind of ["pointerup", "keydown"]) addEventListener(kind, () => this.allow(), { passive: true });
  }

  #look() {
    const state = this.#context.state === "running" ? "on" : "blocked";
    if (state === this.state) return;
    this.state = state;
    this.dispatchEvent(new Event("state"));
  }

  /** Must be called from a tap or a key; harmless when sound is allowed already. */
  allow() {
    if (this.state === "blocked") this.#context.resume().catch(() => this.#look());
  }

  /** Which classes of alarm call for attention now; none stops the sound at once. */
  want(classes) {
    const next = ORDER.filter((name) => classes.includes(name));
    if (next.join() === this.#wanted.join()) return;
    const fresh = next.some((name) => !this.#wanted.includes(name));
    this.#wanted = next;
    if (next.length === 0) this.#hush();
    else if (fresh) {
      this.#turn = 0;
      this.#lastAt = -Infinity;
    }
    this.pulse();
  }

  /** Called a few times a second: repeats what is still wanted, the gravest first. */
  pulse() {
    if (this.#wanted.length === 0 || this.state !== "on") return;
    const now = performance.now();
    if (now - this.#lastAt < REPEAT_MS || this.hold()) return;
    this.#lastAt = now;
    this.play(this.#wanted[this.#turn++ % this.#wanted.length]);
  }

  play(name) {
    if (this.state !== "on") return;
    this.#hush();
    const context = this.#context;
    const voice = new GainNode(context, { gain: 1 });
    voice.connect(context.destination);
    const { wave, gain, notes } = TUNES[name];
    const start = context.currentTime + 0.03;
    let last = null;
    let end = 0;
    for (const [at, length, frequency] of notes) {
      const tone = new OscillatorNode(context, { type: wave, frequency });
      const shape = new GainNode(context, { gain: 0 });
      shape.gain.setValueAtTime(0, start + at);
      shape.gain.linearRampToValueAtTime(gain, start + at + 0.015);
      shape.gain.setValueAtTime(gain, start + at + length * 0.6);
      shape.gain.linearRampToValueAtTime(0, start + at + length);
      tone.connect(shape).connect(voice);
      tone.start(start + at);
      tone.stop(start + at + length + 0.02);
      last = tone;
      end = Math.max(end, at + length);
    }
    last.addEventListener("ended", () => voice.disconnect());
    this.#voice = voice;
    this.dispatchEvent(Object.assign(new Event("played"), { name, ms: (end + 0.2) * 1000 }));
  }

  #hush() {
    this.#voice?.disconnect();
    this.#voice = null;
  }
}
