// Sends what waits: after every save, when the page is looked at again, when the network comes back, and on a timer.
import { reason, verdict } from "./answers.js";
import { aheadBy, compare, setRight } from "./clock.js";
import { change, everything, onChange, REFUSED, SENT, WAITING } from "./outbox.js";
import { person, t } from "./told.js";
import { inTurn } from "./turns.js";

const ANSWER_WITHIN = 15_000, PICTURE_WITHIN = 60_000, FIRST_PAUSE = 1_000, LONGEST_PAUSE = 15_000, SESSION_HOLDS = 30_000;
const LOST_IN_A_ROW = 5; // then the network is gone: the others would only wait in vain
let asked = false, running = false, timer = 0, pause = FIRST_PAUSE, session = null;

/** How sending stands: "idle", "sending", "unreachable", "signedOut", or the name of another person signed in. */
export const standing = { word: "idle", other: null };
const watchers = new Set();
/** Call `watcher` whenever it stands differently. */
export function onStanding(watcher) { watchers.add(watcher); }
const settled = new Set();
/** Call `listener(item)` whenever an item was taken by the service. */
export function onSent(listener) { settled.add(listener); }

function stand(word, other = null) {
  Object.assign(standing, { word, other });
  for (const watcher of watchers) watcher();
}

/** Send soon. Asked again while sending, another round follows. */
export async function send({ now = false } = {}) {
  if (now) [pause, session] = [FIRST_PAUSE, null];
  asked = true;
  if (running) return;
  running = true;
  clearTimeout(timer);
  try {
    while (asked) {
      asked = false;
      await inTurn(() => round(now));
    }
  } finally {
    running = false;
    await plan();
  }
}

/** Look again when the first item is due, or after a pause that grows while nothing answers. */
async function plan() {
  const waiting = (await everything()).filter((item) => item.state === WAITING);
  clearTimeout(timer);
  if (waiting.length === 0) return;
  const pauses = waiting.map((item) => item.notBefore - Date.now()).filter((wait) => wait > 0);
  const failed = standing.word !== "idle"; // else what is due but was not tried waits for a person or another item
  timer = setTimeout(send, failed ? pause : Math.min(LONGEST_PAUSE, ...pauses));
  if (failed) pause = Math.min(pause * 2, LONGEST_PAUSE);
}

async function round(all) {
  const waits = (await everything()).some((item) => item.state === WAITING);
  if (!waits) return stand("idle");
  stand("sending");
  const me = await whoAmI();
  if (me === null) return stand("unreachable");
  if (me === "signedOut") return signedOut();
  const tried = new Set();
  let lost = 0;
  for (;;) {
    const item = next(await everything(), me.id, tried, all);
    if (!item) break;
    tried.add(item.id);
    const outcome = await sendOne(item);
    if (outcome === "signedOut") return signedOut();
    lost = outcome === "lost" ? lost + 1 : 0;
    if (lost >= LOST_IN_A_ROW) return stand("unreachable");
  }
  return stand(lost ? "unreachable" : "idle", me.id === person.id ? null : me.name);
}

function signedOut() {
  session = null;
  stand("signedOut");
}

function next(items, personId, tried, all) {
  const state = new Map(items.map((item) => [item.id, item.state]));
  return items.find((item) => item.state === WAITING && item.person.id === personId && !tried.has(item.id)
    && (all || item.notBefore <= Date.now()) && (!item.after || !state.has(item.after) || state.get(item.after) === SENT));
}

/** Who is signed in: asked again after half a minute, and at once after a refusal. null when nobody answers. */
async function whoAmI() {
  if (session && Date.now() - session.askedAt < SESSION_HOLDS) return session.found;
  for (let tries = 0; tries < LOST_IN_A_ROW; tries += 1) {
    const begun = Date.now();
    try {
      const answer = await ask("/v1/sessions/current", {});
      compare(answer, begun, Date.now());
      if (answer.status === 401) return "signedOut";
      if (!answer.ok) return null;
      session = { askedAt: begun, found: await answer.json() };
      return session.found;
    } catch (error) {
      if (error.name === "TimeoutError") return null; // quick failures may be luck, slow ones are not
    }
  }
  return null;
}

async function ask(path, options, within = ANSWER_WITHIN) {
  const answer = await fetch(path, { ...options, cache: "no-store", signal: AbortSignal.timeout(within) });
  pause = FIRST_PAUSE; // somebody is there
  return answer;
}

/** Send one item: "taken", "refused", "again", "lost" or "signedOut". The item is marked before anything leaves. */
async function sendOne(found) {
  const item = await change(found.id, firstAttempt, (each) => each.state === WAITING);
  if (!item) return "taken"; // undone meanwhile
  let answer;
  try {
    answer = item.picture ? await sendPicture(item) : await ask(item.path, {
      method: item.method,
      headers: { "Content-Type": "application/json", ...inTheNameOf(item), ...(item.ifMatch ? { "If-Match": item.ifMatch } : {}) },
      body: JSON.stringify(item.body),
    });
  } catch {
    await change(item.id, { notBefore: Date.now() + FIRST_PAUSE }); // the network's fault, not the item's
    return "lost";
  }
  const word = verdict(answer);
  if (word === "taken") await taken(item, answer);
  if (word === "again") await later(item);
  if (word === "refused") await (await stands(item, answer) ? taken(item, null) : refuse(item, await reason(answer)));
  return word;
}

/** Somebody else may sign in between asking who it is and sending: the service then refuses, and the item waits. */
function inTheNameOf(item) {
  return { "Ooid-Person": item.person.id };
}

/** A picture is the body itself; what is said of it goes as parameters. */
function sendPicture(item) {
  const options = { method: item.method, headers: { "Content-Type": item.picture.type, ...inTheNameOf(item) }, body: item.picture };
  return ask(`${item.path}?${new URLSearchParams(item.body)}`, options, PICTURE_WITHIN);
}

/** Times are set right once, before the first attempt: a repeat must be the same to the letter. */
function firstAttempt(item) {
  if (item.attempted) return { tries: item.tries + 1 };
  const body = setRight(item.body, item.auto);
  if (body !== item.body && item.takesNote) {
    const words = t("This phone's clock was {minutes} min off; the time was set right.", { minutes: Math.round(aheadBy() / 60_000) });
    body.note = body.note ? `${body.note} (${words})` : words;
  }
  return { attempted: true, tries: 1, body, clockAhead: aheadBy() };
}

async function taken(item, answer) {
  const tag = answer?.headers.get("ETag") ?? null;
  const sent = await change(item.id, { state: SENT, why: null, version: tag, sentAt: Date.now() });
  if (item.changes && tag) await change(item.changes, { version: tag });
  if (sent) for (const listener of settled) listener(sent);
}

function refuse(item, why) {
  return change(item.id, { state: REFUSED, why });
}

function later(item) {
  const wait = Math.min(FIRST_PAUSE * 2 ** Math.min(item.tries - 1, 5), LONGEST_PAUSE);
  return change(item.id, { notBefore: Date.now() + wait });
}

/** Whether a correction or withdrawal that is refused as stale is in force already: its first answer was lost. */
async function stands(item, answer) {
  if (item.method !== "POST" || !item.changes || ![409, 412].includes(answer.status)) return false;
  const now = await ask(item.path.replace(/\/(corrections|withdrawal)$/, ""), {}).then((each) => each.json()).catch(() => null);
  return now !== null && now.correction_reason === item.body.reason && `"${now.version}"` !== item.ifMatch;
}

/** Begin: now, and whenever it may help. */
export function keepSending() {
  onChange(() => { if (!running) plan(); });
  addEventListener("online", () => send({ now: true }));
  addEventListener("focus", () => send({ now: true }));
  addEventListener("pageshow", () => send({ now: true }));
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send({ now: true }); });
  send();
}
