// Asks the service for the bench, twice a second, for as long as the page is open.
//
// Events: "bench" (a new answer in .bench), "state" (live, stalled, lost; .state), "newpage"
// (the service has been updated), "pulse" (four times a second, whatever happens).

import { told } from "./units.js";

const EVERY_MS = 500;
const TIMEOUT_MS = 2000;
/** Without a good answer for this long nothing shown may be called live. */
export const LOST_AFTER_MS = 3000;

/** Time passed that neither a sleeping machine nor a corrected date can hide. */
export function stopwatch(already = 0) {
  const [mono, wall] = [performance.now(), Date.now()];
  return () => already + Math.max(performance.now() - mono, Date.now() - wall);
}

/** The answer that came inside the page, unless the page itself is an old one. */
export function embedded() {
  const element = document.getElementById("first");
  const [visit] = performance.getEntriesByType("navigation");
  if (!element || !visit?.transferSize) return null;
  const ageMs = performance.now() - visit.responseStart;
  return ageMs < LOST_AFTER_MS ? { bench: JSON.parse(element.textContent), etag: `"${element.dataset.etag}"`, ageMs } : null;
}

export class Link extends EventTarget {
  bench = null;
  state = "waiting";
  #etag = null;
  #inFlight = null;
  #sinceAsked = () => Infinity;
  #sinceGood = stopwatch();
  #refusedLast = false;
  #everGood = false;

  constructor(pulseAddress, page) {
    super();
    this.page = page;
    this.pulseAddress = pulseAddress;
  }

  /** @param first the answer to begin with, from embedded() */
  start(first) {
    if (first) {
      this.#good(first.ageMs);
      this.#take(first.bench, first.etag);
      this.#judge();
    }
    const worker = new Worker(this.pulseAddress);
    worker.onmessage = () => this.#pulse();
    worker.onerror = () => {
      worker.terminate();
      setInterval(() => this.#pulse(), 250);
    };
    document.addEventListener("visibilitychange", () => this.nudge());
    addEventListener("online", () => this.nudge());
    this.nudge();
  }

  /** Milliseconds since the last good answer. */
  silence() {
    return this.#sinceGood();
  }

  get everGood() {
    return this.#everGood;
  }

  /** Ask now, not at the next turn. */
  nudge() {
    if (!this.#inFlight) this.#ask();
  }

  #pulse() {
    if (this.#inFlight) {
      if (this.#sinceAsked() > TIMEOUT_MS) this.#inFlight.abort();
    } else if (this.#sinceAsked() >= EVERY_MS - 20) this.#ask();
    this.#judge();
    this.dispatchEvent(new Event("pulse"));
  }

  async #ask() {
    const stopper = new AbortController();
    this.#inFlight = stopper;
    this.#sinceAsked = stopwatch();
    try {
      const headers = this.#etag ? { "If-None-Match": this.#etag } : {};
      const answer = await fetch("/api/v1/bench", { headers, signal: stopper.signal, cache: "no-store" });
      if (answer.status === 200) this.#answered(await answer.json(), answer.headers);
      else {
        if (answer.status === 304) this.#good();
        else this.#refusedLast = true;
        await answer.body?.cancel();
      }
    } catch {
      // No answer, half an answer or too late: silence() tells, and the next turn tries again.
      this.#refusedLast = false;
    } finally {
      this.#inFlight = null;
      this.#judge();
    }
  }

  #answered(bench, headers) {
    this.#good();
    this.#take(bench, headers.get("ETag"));
    const page = headers.get("Heatwindow-Page");
    if (page && page !== this.page) this.dispatchEvent(new Event("newpage"));
  }

  #take(bench, etag) {
    this.bench = told(bench);
    this.#etag = etag;
    this.dispatchEvent(new Event("bench"));
  }

  #good(agoMs = 0) {
    this.#sinceGood = stopwatch(agoMs);
    this.#refusedLast = false;
    this.#everGood = true;
  }

  #judge() {
    let state = "live";
    if (this.silence() > LOST_AFTER_MS) state = this.#refusedLast ? "stalled" : "lost";
    else if (!this.#everGood) state = "waiting";
    if (state === this.state) return;
    this.state = state;
    this.dispatchEvent(new Event("state"));
  }
}
