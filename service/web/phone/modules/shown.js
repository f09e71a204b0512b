// Items as lines on the page: what it was, and in words where it stands.
import { ago } from "./ages.js";
import { everything, REFUSED, SENT, UNDONE, WAITING } from "./outbox.js";
import { drawn } from "./pictures.js";
import { servicesWords, whyWords } from "./problems.js";
import { standing } from "./sender.js";
import { person, t } from "./told.js";

/** The state of an item in words. */
export function stateOf(item, items) {
  const later = items.filter((each) => each.changes === item.id && each.state !== UNDONE && each.state !== REFUSED);
  if (later.some((each) => each.path.endsWith("/withdrawal"))) return t("withdrawn");
  if (item.state === SENT) return later.length ? t("corrected") : t("sent");
  if (item.state === REFUSED) return t("refused: {why}", { why: whyWords(item.why) });
  if (item.state === UNDONE) return t("undone, not sent");
  if (item.person.id !== person.id) return t("saved on this phone, waits until {name} signs in", { name: item.person.name });
  if (standing.word === "signedOut") return t("saved on this phone, waits until you sign in");
  return t("saved on this phone");
}

/** A line for an item: its words, its state, and what the expected course says about it. */
export function line(item, items, { withPlace }) {
  const element = document.createElement("li");
  element.dataset.id = item.id;
  element.dataset.state = item.state;
  if (item.picture) element.append(drawn(item.picture, item.words));
  add(element, "span", "what", withPlace ? `${item.placeName}: ${item.words}` : item.words);
  add(element, "span", "state", stateOf(item, items));
  add(element, "span", "small", ago(Date.now() - item.savedAt));
  const inEnglish = servicesWords(item.why);
  if (inEnglish) add(element, "p", "wrong", inEnglish).lang = "en";
  for (const each of item.why?.fields ?? []) {
    if (!item.why.detail.includes(each.detail)) add(element, "p", "wrong", `${each.pointer.slice(1)}: ${each.detail}`).lang = "en";
  }
  if (item.advice) add(element, "p", "advice", item.advice);
  return element;
}

function add(parent, kind, name, text) {
  const element = document.createElement(kind);
  element.className = name;
  element.textContent = text;
  parent.append(element, " ");
  return element;
}

/** What a person should know about sending, in words; nothing when all is well. */
export function standingWords(waiting) {
  if (standing.other) return t("{name} is signed in now. What {me} typed waits.", { name: standing.other, me: person.name });
  if (!waiting) return "";
  if (standing.word === "signedOut") return t("You are signed out. What you type is kept on this phone; sign in again to send it.");
  if (standing.word === "unreachable") return t("The service cannot be reached. What you type is kept on this phone and sent later.");
  return "";
}

/** Items of one place, the newest first. */
export async function itemsOf(code) {
  const items = await everything();
  return { items, here: items.filter((item) => item.placeCode === code).reverse() };
}

/** How many wait. */
export function countWaiting(items) {
  return items.filter((item) => item.state === WAITING).length;
}
