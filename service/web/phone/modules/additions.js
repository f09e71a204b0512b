// What was put into a system or its reactor: dose, top-off, water change, media.
import { newId } from "./ids.js";
import { typed, written } from "./numbers.js";
import { rfc3339 } from "./clock.js";
import { held, rememberSolution, solutionWords } from "./solutions.js";
import { place, t } from "./told.js";

const HOUR = 3600 * 1000;

/** What is in a named number field: a value with its unit, or undefined when it was left empty. */
function amount(form, name) {
  const input = form.elements[name];
  const value = typed(input.value);
  return value === null ? undefined : { value, unit: input.dataset.unit };
}

function addition(form, body, words, auto) {
  const note = [form.elements.note?.value.trim(), body.note].filter(Boolean).join("; ");
  return [{ id: newId(), kind: "additions", body: note ? { ...body, note } : body, words, auto, takesNote: true }];
}

function spread(form, taken) {
  const hours = typed(form.elements.hours.value) ?? 0;
  return { started_at: rfc3339(Date.parse(taken) - hours * HOUR), ended_at: taken };
}

function named(amounts) {
  return Object.fromEntries(Object.entries(amounts).filter(([, value]) => value !== undefined));
}

export function dose(form, { taken }) {
  const stated = named({
    alkalinity: amount(form, "alkalinity"), calcium: amount(form, "calcium"), magnesium: amount(form, "magnesium"),
  });
  const isByVolume = typed(form.elements.solution_volume.value) !== null;
  if (isByVolume && Object.keys(stated).length) {
    return { missing: form.elements.solution_volume, words: t("Give the amounts or the volume, not both.") };
  }
  const amounts = isByVolume ? held(form) : stated;
  if (isByVolume && Object.keys(amounts).length === 0) {
    return { missing: form.elements.alkalinity_strength, words: t("How strong is the solution?") };
  }
  if (Object.keys(amounts).length === 0) return { missing: form.elements.alkalinity };
  const words = Object.values(amounts).map((each) => `${written(each.value)} ${each.unit}`).join(", ");
  const body = { kind: "dose", system_id: place.system_id, ...spread(form, taken), ...amounts };
  if (isByVolume) {
    rememberSolution(form);
    body.note = solutionWords(form);
  }
  return addition(form, body, t("Dose {what}", { what: words }), ["started_at", "ended_at"]);
}

export function topOff(form, { taken }) {
  const liquid = form.elements.liquid.value, volume = amount(form, "volume");
  const strength = liquid === "limewater" ? amount(form, "strength") : undefined;
  const body = named({ kind: "top_off", system_id: place.system_id, ...spread(form, taken), volume, liquid, strength });
  return addition(form, body, t("Top-off {volume} L", { volume: written(volume.value) }), ["started_at", "ended_at"]);
}

export function waterChange(form, { taken }) {
  const volume = amount(form, "volume");
  const water = named({
    alkalinity: amount(form, "alkalinity"), calcium: amount(form, "calcium"), magnesium: amount(form, "magnesium"),
    salinity: amount(form, "salinity"),
  });
  const body = named({
    kind: "water_change", system_id: place.system_id, at: taken, volume, mode: form.elements.mode.value || undefined,
    new_water: Object.keys(water).length ? water : undefined,
  });
  return addition(form, body, t("Water change {volume} L", { volume: written(volume.value) }), ["at"]);
}

export function media(form, { taken }) {
  const mass = amount(form, "mass"), batch = form.elements.batch.value.trim() || undefined;
  const replaces = form.elements.replaces.value ? true : undefined;
  const body = named({ kind: "media", reactor_id: place.id, at: taken, mass, batch, replaces });
  return addition(form, body, t("Media {mass} kg", { mass: written(mass.value) }), ["at"]);
}
