// The round: what was recorded on this phone counts as done at once; what is skipped is told to the next shift, with why.
import { rfc3339 } from "./clock.js";
import { newId } from "./ids.js";
import { everything, keep, onChange, REFUSED, UNDONE } from "./outbox.js";
import { send } from "./sender.js";
import { t } from "./told.js";

let siteId = null, day = "";

/** Make the page of a round work, where this is one. */
export function wireRound() {
  const dated = document.querySelector("[data-round]");
  if (!dated) return;
  siteId = dated.dataset.round;
  day = dated.dateTime;
  for (const entry of entries()) entry.querySelector("[data-skip]").addEventListener("click", () => ask(entry));
  onChange(show);
  show();
}

function entries() {
  return [...document.querySelectorAll("[data-due]")];
}

async function show() {
  const items = (await everything()).filter((item) => item.state !== UNDONE && item.state !== REFUSED);
  const all = entries();
  for (const entry of all) mark(entry, items);
  const finished = all.filter((entry) => entry.dataset.finished).length;
  document.querySelector("[data-progress]").textContent = t("{done} of {count} done", { done: finished, count: all.length });
  const stale = day !== rfc3339(Date.now()).slice(0, 10);
  if (stale) document.querySelector("[data-progress]").textContent += ` (${t("this sheet is of another day")})`;
}

function mark(entry, items) {
  const { due, subject, done } = entry.dataset;
  const skipped = items.some((item) => item.skips === `${day} ${subject} ${due}`);
  const recorded = Boolean(done) || items.some((item) => isOf(item, subject, due));
  const state = entry.querySelector("[data-state-of]");
  entry.dataset.finished = recorded || skipped ? "yes" : "";
  state.hidden = !recorded && !skipped;
  state.textContent = recorded ? t("done") : t("skipped");
  entry.querySelector("[data-skip]").hidden = recorded || skipped;
}

/** Whether an item of the outbox is today's record of what is due. */
function isOf(item, subject, due) {
  if (item.body.subject_id !== subject) return false;
  if (item.kind === "readings") return item.body.quantity === due && item.body.taken_at.slice(0, 10) === day;
  return item.kind === "maintenance-events" && item.body.plan_id === due;
}

function ask(entry) {
  if (entry.querySelector("form")) return;
  const form = document.getElementById("skipping").content.firstElementChild.cloneNode(true);
  const field = form.elements.reason;
  field.id = newId();
  form.querySelector("label").htmlFor = field.id;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (field.value.trim()) skip(entry, field.value.trim()).then(() => form.remove());
    else field.focus();
  });
  entry.append(form);
  field.focus();
}

/** A skipped item is a note to the next shift: it is sent, kept and shown like any other. */
async function skip(entry, why) {
  const { due, subject, code, name, what } = entry.dataset, id = newId();
  const text = t("Skipped: {what}, because {why}", { what: `${what}, ${name}`, why });
  const body = { site_id: siteId, subject_id: subject, text, written_at: rfc3339(Date.now()) };
  await keep([{
    id, group: id, kind: "handovers", path: `/v1/handovers/${id}`, body, words: text, auto: ["written_at"], isRecord: true,
    placeCode: code, placeName: name, skips: `${day} ${subject} ${due}`,
  }]);
  send();
}
