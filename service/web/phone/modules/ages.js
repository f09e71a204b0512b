// How long ago something was, in words that stay true while the page stays open, or is opened days later.
import { written } from "./numbers.js";
import { language } from "./told.js";

const MINUTE = 60_000, HOUR = 60 * MINUTE, DAY = 24 * HOUR;
const relative = new Intl.RelativeTimeFormat(language, { numeric: "auto", style: "long" });

/** The words for an age in milliseconds. */
export function ago(milliseconds) {
  if (milliseconds < HOUR) return relative.format(-Math.max(Math.round(milliseconds / MINUTE), 0), "minute");
  if (milliseconds < 2 * DAY) return relative.format(-Math.round(milliseconds / HOUR), "hour");
  return relative.format(-Math.round(milliseconds / DAY), "day");
}

function show() {
  for (const each of document.querySelectorAll("time[data-age]")) {
    const at = new Date(each.dateTime);
    each.textContent = ago(Date.now() - at.getTime());
    each.title = at.toLocaleString(language);
  }
}

/** Keep the ages of the page true, and write its figures the reader's way. */
export function keepAges() {
  for (const each of document.querySelectorAll("[data-figure]")) each.textContent = written(Number(each.textContent));
  show();
  setInterval(show, MINUTE);
}
