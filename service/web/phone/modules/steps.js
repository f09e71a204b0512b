// What a step's form becomes: evidence, sent after everything that was saved of the run before it.
import { judged, tell } from "./entries.js";
import { newId } from "./ids.js";
import { typed, written } from "./numbers.js";
import { REFUSED } from "./outbox.js";
import { BEGIN, current, procedureCode, STEP } from "./runs.js";
import { place, t } from "./told.js";
import { millisecondsLeft } from "./waits.js";

/** The record of a run that begins here. */
export function begin(form, { taken }) {
  const id = newId(), by = form.elements.started_by.value.trim();
  const body = { procedure: procedureCode(), subject_id: place.id, started_at: taken };
  if (by) body.started_by = by;
  const words = t("Begun: {what}", { what: document.querySelector("h1").firstChild.textContent.trim() });
  return [{ id, kind: "commissionings", body, words, auto: ["started_at"], takesNote: true, run: id, what: BEGIN, procedure: procedureCode() }];
}

/** The evidence of one step; `missing` names the field that is still needed. */
export function step(form, { taken }) {
  const run = current(), own = run.steps.find((each) => each.element.contains(form)), field = form.elements;
  const deviation = own.element.querySelector("[data-deviation]");
  if (own !== run.next) return { missing: form.querySelector("button"), words: t("Another step comes first: {what}.", { what: run.next?.title ?? "" }) };
  const left = own.element.dataset.hold === "wait" ? millisecondsLeft(own, run) : 0;
  if (left > 0 && deviation.hidden) return { missing: form.querySelector("button[type=submit]"), words: t("The time is not up yet.") };
  watchBounds(own, run);
  if (!deviation.hidden && !field.deviation.value.trim()) return { missing: field.deviation, words: t("This is still needed.") };
  const replaced = own.refused, isFollowed = replaced && run.items.some((item) => item.after === replaced.id);
  const body = { done_at: isFollowed && !field.when.value ? replaced.body.done_at : taken };
  const entry = form.querySelector("[data-asked]");
  let words = own.title;
  if (entry) {
    body.value = typed(entry.querySelector("[data-value]").value);
    body.unit = entry.dataset.unit;
    if (field.subject_id?.value) body.subject_id = field.subject_id.value;
    words += `: ${written(body.value)} ${entry.dataset.symbol}`.trimEnd();
  }
  const photo = field.photo_note.value.trim();
  const note = [field.note.value.trim(), photo && t("Photo: {what}", { what: photo })].filter(Boolean).join(". ");
  if (note) body.note = note;
  if (field.observed_by.value.trim()) body.observed_by = field.observed_by.value.trim();
  if (!deviation.hidden) body.deviation = field.deviation.value.trim();
  return [{
    id: newId(), method: "POST", path: `/v1/commissionings/${run.id}/steps/${own.code}`, body, words,
    auto: isFollowed ? [] : ["done_at"], takesNote: true, after: lastOf(run, replaced), run: run.id, step: own.code, what: STEP,
    procedure: procedureCode(), replaces: replaced?.id ?? null,
  }];
}

/** The item that a new one of this run is sent after: the last one saved, else nothing. */
export function lastOf(run, besides = null) {
  if (besides) return besides.after;
  return [run.begun, ...run.items].filter((item) => item && item.state !== REFUSED).at(-1)?.id ?? null;
}

/** Let a value outside what its step asks for go on only with a reason: the field for it appears. */
export function watchBounds(own, run) {
  const entry = own.element.querySelector("[data-asked]");
  if (!entry) return;
  const earlier = run.steps.find((each) => each.code === entry.dataset.above), below = earlier?.item?.body ?? earlier?.evidence;
  if (below && below.unit === entry.dataset.unit) Object.assign(entry.dataset, { aboveValue: below.value, aboveTitle: earlier.title });
  tell(entry);
  own.element.querySelector("[data-deviation]").hidden = !judged(entry, entry.querySelector("[data-value]")).doubt;
}
