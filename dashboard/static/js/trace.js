// What the chart knows of one channel: its stored past, and what has come since. Bounded.

const LIVE_MOST = 1500;
const FETCH_POINTS = 600;
const FETCH_EVERY_MS = 60_000;
const RETRY_MS = 10_000;

export class Trace {
  /** Points in order of time: t [ms UTC], low, high (null: no good value there). */
  points = [];
  failure = null;
  #dueAt = 0;
  #busy = false;
  #from = null;

  constructor(channel) {
    this.channel = channel;
  }

  /** Take the live value of a bench answer made at `at` [ms]. */
  live(channel, at) {
    const good = channel.value !== null && channel.quality !== "bad" && channel.quality !== "stale" && channel.quality !== "suspect";
    const when = good ? at - Math.max(0, channel.age_s) * 1000 : at;
    const last = this.points.at(-1);
    if (last && when <= last.t + 150) return;
    if (!good && last && last.low === null) {
      last.until = when;
      return;
    }
    const value = good ? channel.value : null;
    this.points.push({ t: when, low: value, high: value });
    if (this.points.length > LIVE_MOST + FETCH_POINTS) this.points.splice(0, FETCH_POINTS);
  }

  /** Fetch the past from `start` [ms] on, when it is due or more is wanted; true when it came. */
  async refresh(start, at) {
    const now = performance.now();
    const more = this.#from === null || start < this.#from - 1000;
    if (this.#busy || (!more && now < this.#dueAt) || (this.failure && now < this.#dueAt)) return false;
    this.#busy = true;
    this.#dueAt = now + RETRY_MS;
    try {
      const query = new URLSearchParams({
        channel: this.channel,
        start: new Date(start).toISOString(),
        end: new Date(at).toISOString(),
        points: FETCH_POINTS,
      });
      const answer = await fetch(`/api/v1/history?${query}`, { signal: AbortSignal.timeout(8000) });
      const body = await answer.json();
      if (!answer.ok) throw new Error(body.detail);
      this.#merge(body.points, at);
      this.#from = start;
      this.failure = null;
      this.#dueAt = now + FETCH_EVERY_MS;
      return true;
    } catch (error) {
      this.failure = error.message;
      return false;
    } finally {
      this.#busy = false;
    }
  }

  #merge(stored, end) {
    const past = stored.map(({ t, low, high }) => ({ t: Date.parse(t), low, high }));
    const last = past.at(-1)?.t ?? -Infinity;
    // What came while the answer was under way stays; so does what is not yet written.
    this.points = past.concat(this.points.filter((point) => point.t > Math.max(last, end - 3000)));
  }
}
