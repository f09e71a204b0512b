// Undo, correct, withdraw: what never left the phone is dropped there; what may have left is changed by a new version.
import { newId } from "./ids.js";
import { change, everything, keep, REFUSED, UNDONE, WAITING } from "./outbox.js";
import { t } from "./told.js";

/** Whether this can still be taken back from here. */
export function canBeUndone(item) {
  if (item.changes || item.state === UNDONE) return false;
  return item.isRecord || neverLeft(item);
}

function neverLeft(item) {
  return (item.state === WAITING && !item.attempted) || item.state === REFUSED;
}

/** Take an item back. Nothing that the service may know of disappears: it is withdrawn, with the reason. */
export async function undo(item) {
  const dropped = await change(item.id, { state: UNDONE }, neverLeft);
  if (dropped) for (const each of await everything()) if (each.after === item.id && each.picture) await change(each.id, { state: UNDONE }, neverLeft);
  if (!dropped && item.isRecord) await withdraw(item, t("Undone on the phone right after saving"));
}

/** Withdraw a record with a reason. */
export function withdraw(item, why) {
  return keep([changing(item, "withdrawal", { reason: why }, t("Withdrawn: {what}", { what: item.words }))]);
}

/** Correct a record's value with a reason. */
export function correct(item, value, why, words) {
  return keep([changing(item, "corrections", { value, reason: why }, t("Corrected: {what}", { what: words }))]);
}

function changing(item, what, body, words) {
  return {
    id: newId(), group: newId(), method: "POST", path: `${item.path}/${what}`, ifMatch: item.version ?? '"1"', body,
    words, placeCode: item.placeCode, placeName: item.placeName, after: item.id, changes: item.id, isRecord: false,
  };
}
