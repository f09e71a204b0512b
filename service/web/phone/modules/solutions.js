// A dose given as the volume of a solution: what was in it follows from its strength, which this phone remembers by place.
import { typed } from "./numbers.js";
import { place } from "./told.js";

const KEY = "ooid-solution " + place?.code;
const PER_VOLUME = { alkalinity: "meq", calcium: "mg", magnesium: "mg" };

function strength(form, name) {
  return form.elements[`${name}_strength`];
}

/** What the volume of solution held, by quantity; nothing when no volume was typed. */
export function held(form) {
  const volume = typed(form.elements.solution_volume.value);
  if (volume === null) return {};
  const amounts = {};
  for (const [name, unit] of Object.entries(PER_VOLUME)) {
    const each = typed(strength(form, name).value);
    if (each !== null) amounts[name] = { value: Number((volume * each).toPrecision(12)), unit };
  }
  return amounts;
}

/** How the solution is written into the note of a dose, such as `40 mL: 1.2 meq/mL`. */
export function solutionWords(form) {
  const strengths = Object.entries(PER_VOLUME)
    .map(([name, unit]) => [typed(strength(form, name).value), unit, name])
    .filter(([value]) => value !== null)
    .map(([value, unit, name]) => `${name} ${value} ${unit}/mL`);
  return `${typed(form.elements.solution_volume.value)} mL (${strengths.join(", ")})`;
}

/** Keep the strengths for the next dose here. */
export function rememberSolution(form) {
  const kept = Object.fromEntries(Object.keys(PER_VOLUME).map((name) => [name, strength(form, name).value]));
  localStorage.setItem(KEY, JSON.stringify(kept));
}

/** Put the strengths of the last dose here back where nothing is typed. */
export function recallSolution(form) {
  const kept = JSON.parse(localStorage.getItem(KEY) ?? "{}");
  for (const [name, value] of Object.entries(kept)) strength(form, name).value ||= value;
}
