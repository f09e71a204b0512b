// The page of one place: its forms, and what was just recorded here.
import { wireReplicates } from "./again.js";
import { wireChoices, wireDependents } from "./choices.js";
import { say, wireForms } from "./forms.js";
import { onChange, SENT, UNDONE } from "./outbox.js";
import { onStanding, send } from "./sender.js";
import { itemsOf, line, standingWords, stateOf } from "./shown.js";
import { wireStopwatch } from "./stopwatch.js";
import { canBeUndone, undo } from "./taking_back.js";
import { place, t } from "./told.js";
import { written } from "./numbers.js";

const SHOWN = 8;
let lastSaved = null; // the form and the items saved last: what Undo takes back

/** Make the page work. */
export function wirePlace() {
  const form = document.querySelector('form[data-form="readings"]');
  if (form) {
    wireReplicates(form);
    wireStopwatch(form);
  }
  wireForms(saved);
  wireDependents();
  wireChoices();
  onChange(show);
  onStanding(show);
  show();
}

function saved(form, items) {
  lastSaved = { form, ids: items.map((item) => item.id) };
  const button = form.querySelector("[data-undo]");
  button.hidden = false;
  button.onclick = async () => {
    const { here } = await itemsOf(place.code);
    for (const item of here.filter((each) => lastSaved.ids.includes(each.id))) if (canBeUndone(item)) await undo(item);
    send();
    button.hidden = true;
    lastSaved = null;
    say(form, t("Undone: {what}", { what: items.map((item) => item.words).join(", ") }));
    form.querySelector("input, textarea, select, button[type=submit]").focus();
  };
  show();
}

async function show() {
  const { items, here } = await itemsOf(place.code);
  const section = document.querySelector("[data-lately]");
  if (!section) return;
  const lines = here.filter((item) => !item.changes).slice(0, SHOWN);
  section.hidden = lines.length === 0;
  section.querySelector("ol").replaceChildren(...lines.map((item) => line(item, items, { withPlace: false })));
  tellLast(items);
  tellValues(here);
}

/** Beside the button: where what was saved last stands now. */
function tellLast(items) {
  if (!lastSaved) return;
  const mine = items.filter((item) => lastSaved.ids.includes(item.id));
  if (!mine.length) return;
  const states = [...new Set(mine.map((item) => stateOf(item, items)))];
  const words = states.length === 1
    ? `${mine.map((item) => item.words).join(", ")}: ${states[0]}`
    : mine.map((item) => `${item.words}: ${stateOf(item, items)}`).join("; ");
  const advice = mine.map((item) => item.advice).filter(Boolean).join(" ");
  const waits = standingWords(mine.some((item) => item.state !== SENT));
  say(lastSaved.form, [words + ".", advice, waits].filter(Boolean).join(" "));
}

/** The last value beside a field is what was typed here later than the service knew. */
function tellValues(here) {
  for (const entry of document.querySelectorAll("[data-quantity]")) {
    const newest = here.find((item) => item.kind === "readings" && item.body.quantity === entry.dataset.quantity && item.state !== UNDONE);
    const time = entry.querySelector(".last time");
    if (!newest || (time && Date.parse(time.dateTime) >= Date.parse(newest.body.taken_at))) continue;
    entry.dataset.last = newest.body.value;
    const last = document.createElement("span"), figure = document.createElement("b"), at = document.createElement("time");
    last.className = "last";
    figure.textContent = written(newest.body.value);
    at.dateTime = newest.body.taken_at;
    at.dataset.age = "";
    at.textContent = t("just now");
    last.append(t("last"), " ", figure, ", ", at);
    entry.querySelector(".last").replaceWith(last);
  }
}
