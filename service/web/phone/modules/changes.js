// What changed: a set-point, the stock of corals, the cylinder on a gas line.
import { newId } from "./ids.js";
import { typed, written } from "./numbers.js";
import { place, t } from "./told.js";

export function setting(form, { taken }) {
  const chosen = form.elements.quantity.selectedOptions[0], value = typed(form.elements.value.value);
  const body = {
    subject_id: place.id, quantity: chosen.value, value, unit: chosen.dataset.unit, from: taken,
    reason: form.elements.reason.value.trim(),
  };
  const words = t("Set: {what}", { what: `${chosen.textContent.trim()} ${written(value)}` });
  return [{ id: newId(), kind: "set-points", body, words, auto: ["from"] }];
}

export function stock(form, { taken }) {
  const field = form.elements, kind = field.kind.value, count = typed(field.count.value);
  const body = { subject_id: place.id, kind, at: taken, what: field.what.value.trim() };
  if (count !== null) body.count = Math.round(count);
  if (kind === "moved") body.to_subject_id = field.to_subject_id.value;
  if (field.note.value.trim()) body.note = field.note.value.trim();
  const words = `${field.kind.selectedOptions[0].textContent}: ${body.what}`;
  return [{ id: newId(), kind: "stock-changes", body, words, auto: ["at"], takesNote: true }];
}

/** The same swap again is confirmed by the service, not doubled: it may be repeated like a record. */
export function swap(form, { taken }) {
  const chosen = form.elements.new_cylinder_id.selectedOptions[0];
  return [{
    id: newId(), method: "POST", path: `/v1/equipment/${place.id}/swap`, body: { at: taken, new_cylinder_id: chosen.value },
    words: t("Swapped for {what}", { what: chosen.textContent }), auto: ["at"],
  }];
}
