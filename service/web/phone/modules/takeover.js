// Taking a site over: a word that one has read the list as far as it went, kept and sent like everything else.
import { rfc3339 } from "./clock.js";
import { newId } from "./ids.js";
import { everything, onChange, REFUSED, UNDONE } from "./outbox.js";
import { stateOf } from "./shown.js";
import { person, t } from "./told.js";

let section = null;

/** Make the page of a change of shifts work, where this is one. */
export function wireTakeover() {
  section = document.querySelector("[data-read-to]");
  if (!section) return;
  const form = section.querySelector("form");
  form.addEventListener("saved", () => queueMicrotask(() => form.querySelector("[data-undo]").focus())); // its button goes
  onChange(show);
  show();
}

/** What is sent: how far the list went, when it was made, and when somebody took over. */
export function takeover(form) {
  const { site, readTo, asOf } = section.dataset;
  const body = { site_id: site, read_to: Number(readTo), as_of: asOf, taken_at: rfc3339(Date.now()) };
  return [{ id: newId(), kind: "takeovers", body, words: t("Taken over"), auto: ["taken_at"] }];
}

/** Whoever took this list over on this phone is told so, and cannot do it twice. */
async function show() {
  const items = await everything(), told = section.querySelector("[data-taken]");
  const mine = items.filter((item) => isOfThisList(item) && !isTakenBack(item, items)).at(-1);
  const button = section.querySelector('button[type="submit"]'), isBack = button.hidden && !mine;
  button.hidden = Boolean(mine);
  if (isBack && document.activeElement === document.body) button.focus(); // where the way to take it back was
  told.hidden = !mine;
  const words = mine ? t("You took over: {state}. The next list begins where this one ends.", { state: stateOf(mine, items) }) : "";
  if (told.textContent !== words) told.textContent = words;
}

function isOfThisList(item) {
  const { site, readTo } = section.dataset;
  return item.kind === "takeovers" && item.person.id === person.id && item.body.site_id === site && item.body.read_to >= Number(readTo);
}

function isTakenBack(item, items) {
  if (item.state === UNDONE || item.state === REFUSED) return true;
  return items.some((each) => each.changes === item.id && each.state !== UNDONE && each.state !== REFUSED);
}
