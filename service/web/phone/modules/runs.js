// How a run stands: what the service told last, and what this phone has saved since. Kept for when there is no network.
import { aheadBy } from "./clock.js";
import { everything, REFUSED, SENT, UNDONE, WAITING } from "./outbox.js";
import { person, place } from "./told.js";

const PREFIX = "ooid-run ";
export const BEGIN = "begin", STEP = "step", TAKEN_BACK = "taken back";
let told = { at: new Date(0).toISOString(), run: null, names: {} };
let standing = null;

function key() {
  return `${PREFIX}${person.id} ${place.code} ${procedureCode()}`;
}

/** The code of the procedure that this page is about. */
export function procedureCode() {
  return document.querySelector("[data-procedure]").dataset.procedure;
}

/** Take what the service says of the run, unless something newer is known; it is kept on the phone. */
export function hear(snapshot) {
  if (Date.parse(snapshot.at) < Date.parse(told.at)) return;
  told = snapshot;
  localStorage.setItem(key(), JSON.stringify(told));
}

/** Begin with what the page came with, or what was heard later and kept. */
export function recall() {
  const kept = JSON.parse(localStorage.getItem(key()) ?? "null");
  if (kept) hear(kept);
  hear(JSON.parse(document.getElementById("snapshot").textContent));
}

/** Ask the service how the run stands; false when nobody answers. */
export async function ask() {
  try {
    const answer = await fetch(location.pathname, { headers: { Accept: "text/html" }, cache: "no-store", signal: AbortSignal.timeout(10_000) });
    if (!answer.ok) return false;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    hear(JSON.parse(page.getElementById("snapshot").textContent));
    return true;
  } catch {
    return false;
  }
}

/** The name behind an id. */
export function nameOf(id) {
  return id === person.id ? person.name : told.names[id] ?? "";
}

/** How the run stood when `read` was last called. */
export function current() {
  return standing;
}

/** Read how the run stands: its id (null: none), its steps with their state, which is next, and all items of it. */
export async function read() {
  const items = (await everything()).filter((item) => item.procedure === procedureCode() && item.placeCode === place.code && item.state !== UNDONE);
  const begun = items.filter((item) => item.what === BEGIN && !isHeard(item)).at(-1) ?? null;
  const id = told.run?.id ?? begun?.id ?? null;
  const own = items.filter((item) => item.run === id);
  const steps = [...document.querySelectorAll("[data-step]")].map((element) => stepOf(element, own));
  const next = steps.find((each) => each.state !== "done") ?? null;
  standing = {
    id, begun, items: own, steps, next, startedAt: told.run?.started_at ?? begun?.body.started_at ?? null,
    isKnown: told.run !== null, isRefused: begun?.state === REFUSED,
  };
  return standing;
}

/** Whether what the service told is younger than the sending of an item: then its word counts. */
function isHeard(item) {
  return item.state === SENT && Date.parse(told.at) > item.sentAt - (item.clockAhead ?? 0);
}

/** A step: `open`, `to_be_signed` or `done`; where it stands so by an item of this phone, that item. */
function stepOf(element, items) {
  const { step: code, signed, title } = element.dataset;
  const heard = told.run?.steps.find((each) => each.code === code) ?? null;
  const mine = items.filter((item) => item.step === code && !isHeard(item));
  const refusedOf = (what) => mine.find((item) => item.what === what && item.state === REFUSED) ?? null;
  const last = mine.filter((item) => item.state === WAITING || item.state === SENT).at(-1) ?? null;
  const isBack = last?.what === TAKEN_BACK;
  const item = last?.what === STEP ? last : null;
  const evidence = isBack ? null : heard?.evidence ?? null;
  const state = evidence ? heard.state : item ? (signed === "two" ? "to_be_signed" : "done") : "open";
  return { code, title, element, state, evidence, item: evidence ? null : item, refused: refusedOf(STEP), refusedBack: refusedOf(TAKEN_BACK), takenBack: heard?.taken_back ?? [] };
}

/** When a step was done, as milliseconds of this phone's clock; null when it was not. */
export function doneAt(step) {
  if (step.item) return Date.parse(step.item.body.done_at) + (step.item.attempted ? aheadBy() : 0);
  return step.evidence ? Date.parse(step.evidence.done_at) + aheadBy() : null;
}
