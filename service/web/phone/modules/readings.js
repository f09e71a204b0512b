// A reading set: one record a value; further values of the same sample are replicates.
import { isConfirmed } from "./entries.js";
import { newId } from "./ids.js";
import { typed, written } from "./numbers.js";
import { place } from "./told.js";

/** The records of a filled form, each with its kind, body and words. */
export function readings(form, { taken }) {
  return [...form.querySelectorAll("[data-quantity]")].flatMap((entry) => {
    const inputs = [...entry.querySelectorAll("[data-value]")].filter((input) => typed(input.value) !== null);
    return inputs.map((input, index) => record(form, entry, typed(input.value), index, taken));
  });
}

function record(form, entry, value, index, taken) {
  const { quantity, unit, title, symbol } = entry.dataset;
  const finer = form.querySelector(`[data-finer="${quantity}"]`);
  const conditions = { ...said(entry), ...(finer ? said(finer) : {}), ...hung(form, quantity) };
  const body = { subject_id: place.id, quantity, value, unit, taken_at: taken };
  if (Object.keys(conditions).length) body.conditions = conditions;
  const method = (entry.dataset.timed === firstText(entry) && "timed_volume") || finer?.querySelector("[data-method]")?.value;
  if (method) body.method = method;
  if (index > 0) body.purpose = "replicate";
  for (const name of ["sample_point", "observed_by", "note"]) {
    const text = form.elements[name]?.value.trim();
    if (text) body[name] = text;
  }
  if (isConfirmed(entry)) body.confirm = true;
  return {
    id: newId(), kind: "readings", body, words: `${title} ${written(value)} ${symbol}`.trim(), auto: ["taken_at"], takesNote: true,
    value: { title, symbol, unit },
  };
}

function firstText(entry) {
  return entry.querySelector("[data-value]").value;
}

function said(holder) {
  const found = {};
  for (const each of holder.querySelectorAll("[data-condition]")) {
    const field = each.querySelector("input, select");
    const text = field.value.trim();
    if (text) found[each.dataset.condition] = each.dataset.number ? typed(text) : text;
  }
  return found;
}

function hung(form, quantity) {
  const text = quantity === "cylinder_gross_mass" ? form.elements.hung_on_scale?.value.trim() : "";
  return text ? { hung_on_scale: text } : {};
}
