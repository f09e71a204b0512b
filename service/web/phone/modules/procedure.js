// The page of a procedure: which step is next, what was seen at those done, what holds, who signs.
import { clockTime, dayAndTime } from "./clock.js";
import { wireForms } from "./forms.js";
import { newId } from "./ids.js";
import { change, everything, keep, onChange, REFUSED, UNDONE, WAITING } from "./outbox.js";
import { written } from "./numbers.js";
import { servicesWords } from "./problems.js";
import { ask, current, doneAt, nameOf, procedureCode, read, recall, TAKEN_BACK } from "./runs.js";
import { onSent, onStanding, send } from "./sender.js";
import { standingWords, stateOf } from "./shown.js";
import { wireSigning } from "./signing.js";
import { lastOf, watchBounds } from "./steps.js";
import { wireStopwatch } from "./stopwatch.js";
import { person, place, t } from "./told.js";
import { wireWait, wireWatch } from "./waits.js";

const ASK_EVERY = 15_000; // while somebody else is to sign
let opened = null;

/** Make the page work. */
export async function wireProcedure() {
  recall();
  const run = await read();
  wireForms(saved);
  for (const own of run.steps) wireStep(own);
  const whole = document.querySelector('[data-signing="whole"]');
  if (whole) wireSigning(whole, () => `/v1/commissionings/${current().id}/sign`, signed);
  onChange(show);
  onStanding(show);
  onSent(refresh);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
  addEventListener("online", refresh);
  setInterval(() => { if (!document.hidden && waitsForOthers()) refresh(); }, ASK_EVERY);
  await show();
  document.documentElement.dataset.run = "shown";
  refresh();
}

function wireStep(own) {
  const form = own.element.querySelector('form[data-form="step"]'), signing = own.element.querySelector("[data-signing]");
  if (signing) wireSigning(signing, () => `/v1/commissionings/${current().id}/steps/${own.code}/sign`, show);
  if (!form) return;
  form.addEventListener("input", () => watchBounds(own, current()));
  form.addEventListener("saved", () => { own.element.querySelector("[data-deviation]").hidden = true; });
  wireStopwatch(form);
  wireWatch(own);
  if (own.element.dataset.hold === "wait") wireWait(own, current);
  own.element.querySelector("[data-take-back] button").addEventListener("click", () => askWhy(own));
}

function waitsForOthers() {
  const run = current();
  return run?.id && (!run.next || run.next.state === "to_be_signed");
}

async function refresh() {
  if (await ask()) await show();
}

/** A new try at a refused step takes the place of the old one; what was saved after it follows the new one. */
async function saved(_form, [item]) {
  if (item.replaces) {
    await change(item.replaces, { state: UNDONE });
    for (const each of current().items.filter((later) => later.after === item.replaces)) await change(each.id, { after: item.id });
  }
  await show();
  current().next?.element.querySelector("summary").focus();
}

async function signed() {
  await ask();
  location.reload(); // the signed run is a record now, and listed as one
}

async function show() {
  const run = await read(), items = await everything();
  for (const form of document.querySelectorAll("[data-begin]")) form.hidden = run.id !== null && !run.isRefused;
  tellStanding(run, items);
  for (const own of run.steps) showStep(own, run, items);
  const finish = document.querySelector("[data-finish]");
  finish.hidden = !(run.id && run.next === null);
  for (const form of finish.querySelectorAll("form")) form.hidden = !run.isKnown || run.items.some((item) => item.state === WAITING);
  openNext(run);
}

function tellStanding(run, items) {
  const done = run.steps.filter((each) => each.state === "done").length;
  const words = [];
  if (run.id === null) words.push(t("Not begun. {count} steps, readable below.", { count: run.steps.length }));
  else {
    words.push(t("Begun {when}. {done} of {count} steps done.", { when: dayAndTime(Date.parse(run.startedAt)), done, count: run.steps.length }));
    if (run.begun && !run.isKnown) words.push(`${run.begun.words}: ${stateOf(run.begun, items)}.`);
  }
  for (const own of run.steps.filter((each) => each.refused)) words.push(t("Refused: {what}. Look at the step.", { what: own.title }));
  const waits = run.items.some((item) => item.state === WAITING);
  words.push(standingWords(waits));
  put(document.querySelector("[data-standing-run]"), words.filter(Boolean).join(" "));
}

function showStep(own, run, items) {
  const { element, state } = own, isNext = run.id !== null && !run.isRefused && own === run.next;
  const form = element.querySelector('form[data-form="step"]');
  element.dataset.state = isNext && state === "open" ? "next" : state;
  put(element.querySelector("[data-state-of]"), stateWords(own, run, items, isNext));
  element.querySelector("[data-evidence]").replaceChildren(...evidence(own, items));
  if (!form) return;
  form.hidden = !isNext || state !== "open";
  const last = run.steps.filter((each) => each.state !== "open").at(-1);
  const isMine = own.item ? own.item.person.id === person.id : own.evidence?.recorded_by === person.id;
  const back = element.querySelector("[data-take-back]");
  back.hidden = own !== last || !isMine || back.dataset.asking === "yes";
  showHold(own, isNext);
}

function stateWords(own, run, items, isNext) {
  if (own.refused && own.state === "open") return t("refused, look below");
  if (own.state === "to_be_signed") return own.item ? stateOf(own.item, items) : t("waits for a second person");
  if (own.state === "done") return own.item ? stateOf(own.item, items) : t("done {when}", { when: clockTime(doneAt(own)) });
  return isNext ? t("next") : "";
}

/** What was seen at a step, as it was sent or waits here; why it was refused; what was taken back. */
function evidence(own, items) {
  const lines = [];
  const of = own.item?.body ?? own.evidence;
  if (of) {
    const by = own.item ? own.item.person.name : nameOf(own.evidence.recorded_by);
    const value = of.value === null || of.value === undefined ? "" : `${written(of.value)} ${unitOf(own)}`.trim();
    lines.push(text("p", [value, of.note, of.observed_by, by, dayAndTime(Date.parse(of.done_at))].filter(Boolean).join(", ")));
    if (of.deviation) lines.push(text("p", t("Otherwise than asked, because: {why}", { why: of.deviation })));
  }
  if (own.evidence?.second) lines.push(text("p", t("Second person: {name}, {when}", { name: nameOf(own.evidence.second.by), when: clockTime(Date.parse(own.evidence.second.at)) })));
  for (const back of own.takenBack) lines.push(text("p", t("Taken back by {name}: {why}", { name: nameOf(back.taken_back.by), why: back.taken_back.reason }), "small"));
  for (const item of [own.refused, own.refusedBack].filter(Boolean)) lines.push(...refusal(item, items));
  return lines;
}

function refusal(item, items) {
  const why = text("p", `${item.words}: ${stateOf(item, items)}`, "wrong"), english = servicesWords(item.why);
  const leave = document.createElement("button"), row = document.createElement("p");
  if (english) {
    const more = text("span", ` ${english}`);
    more.lang = "en";
    why.append(more);
  }
  leave.type = "button";
  leave.className = "plain";
  leave.textContent = t("Leave it out");
  leave.addEventListener("click", () => change(item.id, { state: UNDONE }, (each) => each.state === REFUSED));
  row.append(leave);
  return [why, row];
}

function unitOf(own) {
  return own.element.querySelector("[data-asked]")?.dataset.symbol ?? "";
}

function showHold(own, isNext) {
  const signing = own.element.querySelector("[data-signing]"), words = own.element.querySelector("[data-hold-words]");
  if (!words) return;
  const holds = isNext && own.state === "to_be_signed", isDevice = Boolean(signing?.elements.pin);
  const isOwn = own.evidence?.recorded_by === person.id;
  if (signing) signing.hidden = !holds || !own.evidence || (isOwn && !isDevice);
  if (!holds) return put(words, "");
  if (!own.evidence) return put(words, t("Stop here. Once this step is sent a second person can sign it; the next step waits until then."));
  if (isOwn && !isDevice) return put(words, t("Stop here. A second person signs in on their own phone and finds this run under “All places”; this page then goes on by itself."));
  return put(words, t("Stop here. Look yourself, then sign: not for what you were told, but for what you see."));
}

/** Open the step that is next once, and each that was refused; what somebody opens or closes is left alone. */
function openNext(run) {
  for (const own of run.steps) {
    const refused = (own.refused ?? own.refusedBack)?.id;
    if (refused && own.element.dataset.refused !== refused) own.element.querySelector("details").open = true;
    own.element.dataset.refused = refused ?? "";
  }
  const code = run.id === null ? "" : run.next?.code ?? "";
  if (code === opened) return;
  for (const own of run.steps) own.element.querySelector("details").open = own.code === code || Boolean(own.element.dataset.refused);
  opened = code;
}

/** Take the last step back, with a reason. What never left the phone is dropped there. */
function askWhy(own) {
  const holder = own.element.querySelector("[data-take-back]");
  const form = document.getElementById("taking-back").content.firstElementChild.cloneNode(true), field = form.elements.reason;
  field.id = newId();
  form.querySelector("label").htmlFor = field.id;
  holder.dataset.asking = "yes";
  holder.hidden = true;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (!field.value.trim()) return field.focus();
    delete holder.dataset.asking;
    form.remove();
    return takeBack(own.code, field.value.trim());
  });
  holder.after(form);
  field.focus();
}

async function takeBack(code, reason) {
  const run = await read(), own = run.steps.find((each) => each.code === code);
  const dropped = own.item && await change(own.item.id, { state: UNDONE }, (item) => item.state === WAITING && !item.attempted);
  if (!dropped) {
    const id = newId();
    await keep([{
      id, group: id, method: "POST", path: `/v1/commissionings/${run.id}/steps/${code}/withdrawal`, body: { reason },
      words: t("Taken back: {what}", { what: own.title }), after: lastOf(run), run: run.id, step: code, what: TAKEN_BACK,
      procedure: procedureCode(), placeCode: place.code, placeName: place.name, isRecord: false,
    }]);
    send();
  }
  await show();
}

function text(kind, words, name = "") {
  const element = document.createElement(kind);
  element.className = name;
  element.textContent = words;
  return element;
}

function put(element, words) {
  if (element && element.textContent !== words) element.textContent = words;
}
