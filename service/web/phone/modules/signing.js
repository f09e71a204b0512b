// Signatures go straight to the service: they are somebody's word now, and need the network.
import { reason } from "./answers.js";
import { servicesWords, whyWords } from "./problems.js";
import { ask, current } from "./runs.js";
import { t } from "./told.js";

/** Make a form of signing work; `done` is called when the service has the signature. */
export function wireSigning(form, path, done) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    sign(form, path(), done).catch(() => tell(form, t("Not signed: the service cannot be reached. A signature needs the network; come back when there is one.")));
  });
}

async function sign(form, path, done) {
  const { note, person_id, pin } = Object.fromEntries(new FormData(form));
  const body = note?.trim() ? { note: note.trim() } : {};
  if (form.elements.pin) {
    if (!person_id || !pin) return tell(form, t("Whoever signs picks their name and types their own PIN."));
    Object.assign(body, { person_id, pin });
  }
  const answer = await fetch(path, {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), signal: AbortSignal.timeout(15_000),
  });
  if (form.elements.pin) form.elements.pin.value = "";
  if (answer.status === 401) return tell(form, t("You are signed out. Sign in again to sign."));
  if (!answer.ok) return refuse(form, await reason(answer));
  form.reset();
  tell(form, "");
  await ask();
  return done(current());
}

function refuse(form, why) {
  const english = servicesWords(why);
  tell(form, t("Not signed: {why}", { why: whyWords(why) }));
  if (!english) return;
  const more = document.createElement("span");
  more.lang = "en";
  more.textContent = ` ${english}`;
  form.querySelector("[data-told]").append(more);
}

function tell(form, words) {
  const told = form.querySelector("[data-told]");
  told.textContent = words;
  told.hidden = !words;
}
