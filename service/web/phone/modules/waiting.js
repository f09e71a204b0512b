// The page of what this phone holds: refused, waiting, sent; to send again, correct, withdraw, take away as a file.
import { newId } from "./ids.js";
import { typed, written } from "./numbers.js";
import { change, everything, onChange, REFUSED, SENT, UNDONE, WAITING } from "./outbox.js";
import { onStanding, send } from "./sender.js";
import { countWaiting, line, standingWords } from "./shown.js";
import { canBeUndone, correct, undo, withdraw } from "./taking_back.js";
import { t } from "./told.js";

let file = null;

/** Make the page work. */
export function wireWaiting() {
  document.querySelector("[data-send]").addEventListener("click", () => send({ now: true }));
  onChange(show);
  onStanding(show);
  show();
}

async function show() {
  if (document.querySelector(".kept form")) return; // somebody is typing a correction
  const items = await everything();
  const newestFirst = [...items].reverse();
  fill("refused", newestFirst.filter((item) => item.state === REFUSED), items);
  fill("waiting", newestFirst.filter((item) => item.state === WAITING), items);
  fill("sent", newestFirst.filter((item) => item.state === SENT && !item.changes), items);
  document.querySelector("[data-refused]").hidden = !items.some((item) => item.state === REFUSED);
  summarise(items);
}

function summarise(items) {
  const count = countWaiting(items), unsent = items.filter((item) => item.state === WAITING || item.state === REFUSED);
  const words = count ? t("{count} saved on this phone, not sent yet.", { count }) : t("All is sent.");
  document.querySelector("[data-summary]").textContent = [words, standingWords(count)].filter(Boolean).join(" ");
  const link = document.querySelector("[data-download]");
  link.hidden = unsent.length === 0;
  link.onclick = (event) => takeAway(event, unsent);
}

/** What waits as a file, pictures as data URLs in it; made when asked for, since pictures are large. */
async function takeAway(event, unsent) {
  event.preventDefault();
  const whole = await Promise.all(unsent.map(async (item) => (item.picture ? { ...item, picture: await asDataUrl(item.picture) } : item)));
  if (file) URL.revokeObjectURL(file);
  file = URL.createObjectURL(new Blob([JSON.stringify(whole, null, 1)], { type: "application/json" }));
  const link = document.createElement("a");
  link.href = file;
  link.download = document.querySelector("[data-download]").download;
  link.click();
}

function asDataUrl(blob) {
  return new Promise((resolve, reject) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result);
    reader.onerror = () => reject(reader.error);
    reader.readAsDataURL(blob);
  });
}

function fill(name, chosen, items) {
  const list = document.querySelector(`[data-list="${name}"]`);
  list.replaceChildren(...chosen.map((item) => withActions(line(item, items, { withPlace: true }), item, items)));
  const none = document.querySelector(`[data-none="${name}"]`);
  if (none) none.hidden = chosen.length > 0;
}

function withActions(element, item, items) {
  const isChanged = items.some((each) => each.changes === item.id && each.state !== UNDONE && each.state !== REFUSED);
  const row = document.createElement("p");
  if (item.state === REFUSED) {
    row.append(button(t("Send again"), () => sendAgain(item)), button(t("Leave it out"), () => undo(item)));
    if (item.why?.title && item.kind === "readings") row.prepend(button(t("Correct"), () => open(element, item)));
  }
  if (item.state === WAITING && canBeUndone(item) && !isChanged) row.append(button(t("Undo"), () => undo(item).then(() => send())));
  if (item.state === SENT && item.isRecord && !isChanged) row.append(button(t("Correct or withdraw"), () => open(element, item)));
  if (row.childElementCount) element.append(row);
  return element;
}

function button(words, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "plain";
  made.textContent = words;
  made.addEventListener("click", act);
  return made;
}

async function sendAgain(item) {
  await change(item.id, { state: WAITING, notBefore: 0 }, (each) => each.state === REFUSED);
  send({ now: true });
}

/** The form for a correction under a line, each label tied to its field. */
function open(element, item) {
  const form = document.getElementById("correction").content.firstElementChild.cloneNode(true);
  for (const field of form.querySelectorAll("input")) {
    field.id = newId();
    field.closest(".entry, .beside").querySelector("label").htmlFor = field.id;
  }
  const entry = form.querySelector("[data-new-value]"), value = form.elements.value;
  entry.hidden = item.kind !== "readings";
  form.querySelector('[data-what="correct"]').hidden = entry.hidden;
  form.querySelector('[data-what="withdraw"]').hidden = item.state === REFUSED;
  form.querySelector(".unit").textContent = item.value?.symbol ?? "";
  if (!entry.hidden) value.value = written(item.body.value);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    act(form, item, event.submitter?.dataset.what ?? "correct").catch((error) => tell(form, error.message));
  });
  element.querySelector("p:last-of-type")?.remove();
  element.append(form);
  (entry.hidden ? form.elements.reason : value).focus();
}

function tell(form, words) {
  const told = form.querySelector(".wrong");
  told.textContent = words;
  told.hidden = false;
}

async function act(form, item, what) {
  const why = form.elements.reason.value.trim();
  if (!why && item.state !== REFUSED) return tell(form, t("Say why: the old value stays visible beside the reason."));
  const value = typed(form.elements.value.value);
  if (what === "correct" && (value === null || Number.isNaN(value))) {
    return tell(form, t("Not a number: write 8.2 or 8,2, without thousands marks."));
  }
  const words = item.value ? `${item.value.title} ${written(value ?? 0)} ${item.value.symbol}`.trim() : item.words;
  form.remove();
  if (item.state === REFUSED) {
    await change(item.id, { state: WAITING, notBefore: 0, why: null, words, body: { ...item.body, value } });
  } else if (what === "withdraw") await withdraw(item, why);
  else await correct(item, value, why, words);
  await show();
  return send({ now: true });
}
