// Waiting by the clock: how long since the step before, by difference of instants, so that a reload loses nothing.
import { clockTime } from "./clock.js";
import { doneAt } from "./runs.js";
import { tell } from "./entries.js";
import { written } from "./numbers.js";
import { place, t } from "./told.js";

const TICK = 250, MINUTE = 60_000;
const WATCH = "ooid-watch ";

function since(own, run) {
  const index = run.steps.indexOf(own);
  return index > 0 ? doneAt(run.steps[index - 1]) : Date.parse(run.startedAt);
}

/** Milliseconds until a step's wait is over; 0 when it is. */
export function millisecondsLeft(own, run) {
  const from = since(own, run);
  const now = Math.floor(Date.now() / 1000) * 1000; // what is sent has whole seconds: none may be short of a part
  return from === null ? Infinity : Math.max(0, from + Number(own.element.dataset.minutes) * MINUTE - now);
}

function minutesAndSeconds(milliseconds) {
  const seconds = Math.floor(Math.max(0, milliseconds) / 1000);
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

/** Keep the watch of a waiting step running while it is the next one. */
export function wireWait(own, read) {
  let wasOver = null;
  const element = own.element, shown = element.querySelector("[data-waited]"), told = element.querySelector("[data-until]");
  const early = element.querySelector("[data-early]"), deviation = element.querySelector("[data-deviation]");
  early.addEventListener("change", () => { deviation.hidden = !early.checked; });
  const tick = () => {
    const run = read(), step = run?.next;
    if (!step || step.code !== own.code || since(step, run) === null) return;
    const left = millisecondsLeft(step, run), whole = Number(element.dataset.minutes) * MINUTE;
    shown.textContent = t("{done} of {whole} min", { done: minutesAndSeconds(whole - left), whole: minutesAndSeconds(whole) });
    const words = left > 0
      ? t("Begun at {begun}, over at {over}. The page may be closed: the time goes on.", { begun: clockTime(since(step, run)), over: clockTime(since(step, run) + whole) })
      : t("The time is up.");
    if (told.textContent !== words) told.textContent = words;
    element.querySelector("button[type=submit]").classList.toggle("plain", left > 0);
    if (left === 0 && wasOver === false) navigator.vibrate?.(400);
    wasOver = left === 0;
    if (wasOver) { early.checked = false; deviation.hidden = true; }
    early.closest("label").hidden = wasOver;
  };
  setInterval(tick, TICK);
  tick();
}

/** A watch whose beginning is written down: it runs on through a reload. Its minutes go into the step's field. */
export function wireWatch(own) {
  const holder = own.element.querySelector("[data-watch]");
  if (!holder) return;
  const key = `${WATCH}${place.code} ${own.code}`, shown = holder.querySelector("[data-elapsed]"), button = holder.querySelector("[data-run]");
  const entry = own.element.querySelector("[data-asked]");
  const show = () => {
    const begun = Number(localStorage.getItem(key));
    button.textContent = begun ? t("Stop the watch") : t("Start the watch");
    if (begun) shown.textContent = `${((Date.now() - begun) / 1000).toFixed(1)} s`;
  };
  button.addEventListener("click", () => {
    const begun = Number(localStorage.getItem(key));
    if (begun) {
      const input = entry.querySelector("[data-value]");
      show();
      input.value = written((Date.now() - begun) / MINUTE);
      localStorage.removeItem(key);
      tell(entry);
      input.dispatchEvent(new Event("input", { bubbles: true }));
    } else localStorage.setItem(key, String(Date.now()));
    show();
  });
  setInterval(show, TICK);
  show();
}
