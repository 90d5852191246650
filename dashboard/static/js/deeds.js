// What a person does: one small JSON object to the service, and a word about what became of it.
import { toast } from "./toasts.js";
import { said as inUnits } from "./units.js";
import { t } from "./words.js";

const TIMEOUT_MS = 8000;
/** Several megabytes over a weak radio link. */
const FILE_TIMEOUT_MS = 120_000;

/** A token that makes a double tap, or a repeat after a lost answer, one action. */
export function token() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

let turnedAway = () => {};
/** Called when the service says that this device may only look. */
export function onTurnedAway(run) {
  turnedAway = run;
}

export class NotDone extends Error {}

let afterwards = () => {};
/** Called after every action that was done, so that the bench is asked for at once. */
export function onDone(run) {
  afterwards = run;
}

/**
 * Post an object.
 * @returns {Promise<object>} the answer
 * @throws {NotDone} with one sentence for the person.
 */
export function post(address, body) {
  return request(address, "application/json", { body: JSON.stringify(body), keepalive: true }, TIMEOUT_MS);
}

/** Post a file as it is; otherwise like post. */
export function sendFile(address, file) {
  return request(address, file.type || "application/octet-stream", { body: file }, FILE_TIMEOUT_MS);
}

async function request(address, type, options, timeoutMs) {
  let answer;
  try {
    const headers = { "Content-Type": type, "X-Heatwindow": "page" };
    answer = await fetch(address, { method: "POST", headers, signal: AbortSignal.timeout(timeoutMs), ...options });
  } catch {
    throw new NotDone(t("done.failed"));
  }
  const said = await answer.json().catch(() => null);
  if (answer.status === 401) turnedAway();
  if (!answer.ok) throw new NotDone(t("done.refused", { why: said?.detail ? inUnits(said.detail) : answer.status }));
  return said;
}

/**
 * Send an action.
 * @returns {Promise<{seq: number, part_id: number|null, heat_id: number|null, recorded: boolean}>}
 * @throws {NotDone} with one sentence for the person.
 */
export async function send(action) {
  const body = await post("/api/v1/actions", { token: token(), ...action });
  afterwards();
  return body;
}

/** Send an action and say what became of it. Resolves to the answer, or null when not done. */
export async function act(action, said, options = {}) {
  try {
    const body = await send(action);
    const text = body.recorded ? said : `${said}. ${t("done.not_recorded")}`;
    if (text) toast(text, options);
    return body;
  } catch (error) {
    if (!(error instanceof NotDone)) throw error;
    toast(error.message, { bad: true });
    return null;
  }
}

/** Run something behind a button that cannot be pressed twice meanwhile. */
export async function pressed(button, run) {
  if (button.getAttribute("aria-busy") === "true") return;
  button.setAttribute("aria-busy", "true");
  try {
    await run();
  } finally {
    button.removeAttribute("aria-busy");
  }
}
