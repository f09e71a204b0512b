// What was done to something: maintenance with parts and minutes, a calibration, or only something seen.
import { newId } from "./ids.js";
import { typed } from "./numbers.js";
import { place, t } from "./told.js";

const LONGEST_WORDS = 60;

function short(text) {
  const line = text.replace(/\s+/g, " ");
  return line.length > LONGEST_WORDS ? `${line.slice(0, LONGEST_WORDS)}…` : line;
}

function event(body, words) {
  return [{ id: newId(), kind: "maintenance-events", body, words, auto: ["performed_at"], takesNote: true }];
}

/** The parts of a text with one a line: "2 x O-ring", "O-ring". */
export function parts(text) {
  return text.split("\n").map((line) => line.trim()).filter(Boolean).map((line) => {
    const found = /^(\d+)\s*[x×]\s*(.+)$/i.exec(line);
    return found ? { name: found[2], count: Number(found[1]) } : { name: line };
  });
}

export function work(form, { taken }) {
  const field = form.elements, what = field.what.value.trim(), kind = field.kind.value;
  const body = { subject_id: place.id, kind, performed_at: taken, what };
  const minutes = typed(field.minutes.value), fitted = parts(field.parts.value);
  if (field.plan_id?.value) body.plan_id = field.plan_id.value;
  if (minutes !== null) body.minutes = minutes;
  if (fitted.length) body.parts = fitted;
  for (const name of ["findings", "note"]) if (field[name].value.trim()) body[name] = field[name].value.trim();
  if (field.restores?.checked) body.restores = [field.restores.value];
  if (kind === "calibration") body.calibration = calibration(field);
  return event(body, t("Work done: {what}", { what: short(what) }));
}

function calibration(field) {
  const unit = field.read_in.value, found = {};
  const amount = (name, of) => ({ value: typed(field[name].value), unit: of });
  for (const [name, of] of [["slope", "%"], ["offset", "mV"], ["before", unit], ["after", unit]]) {
    if (typed(field[name].value) !== null) found[name] = amount(name, of);
  }
  const buffers = field.buffers.value.split(/[^\d.,-]+/).map((each) => typed(each.replace(/[.,]$/, ""))).filter((each) => each !== null);
  if (buffers.length) found.buffers = buffers.map((value) => ({ value, unit }));
  return found;
}

export function observation(form, { taken }) {
  const what = form.elements.what.value.trim();
  return event({ subject_id: place.id, kind: "inspection", performed_at: taken, what }, t("Observation: {what}", { what: short(what) }));
}

export function handover(form, { taken }) {
  const text = form.elements.text.value.trim(), about = form.elements.subject_id?.value ?? place.id;
  const body = { site_id: place.site_id, ...(about ? { subject_id: about } : {}), text, written_at: taken };
  return [{ id: newId(), kind: "handovers", body, words: t("For the next shift: {what}", { what: short(text) }), auto: ["written_at"] }];
}
