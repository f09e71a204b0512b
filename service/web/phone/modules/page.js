// Where every page of the form begins.
import { askTheCourse } from "./advice.js";
import { keepAges } from "./ages.js";
import { wireFinding } from "./choices.js";
import { install } from "./install.js";
import { everything, onChange, tidy } from "./outbox.js";
import { wirePlace } from "./place.js";
import { wireProcedure } from "./procedure.js";
import { keepSending, onStanding } from "./sender.js";
import { countWaiting, standingWords } from "./shown.js";
import { wireRound } from "./round.js";
import { wireTakeover } from "./takeover.js";
import { wireWaiting } from "./waiting.js";
import { place, t } from "./told.js";

async function showCount() {
  const count = countWaiting(await everything());
  document.querySelector("[data-waiting]").textContent = count ? `: ${t("{count} waiting", { count })}` : "";
  const words = standingWords(count), holder = document.querySelector("[data-notices]");
  let element = holder.querySelector("[data-standing]");
  if (!element) {
    element = document.createElement("p");
    element.dataset.standing = "";
    element.className = "notice";
    holder.prepend(element);
  }
  element.hidden = !words;
  if (element.textContent !== words) element.textContent = words;
}

keepAges();
wireFinding();
if (document.querySelector("[data-procedure]")) wireProcedure();
else if (place) wirePlace();
if (document.querySelector("[data-summary]")) wireWaiting();
wireRound();
wireTakeover();
askTheCourse();
onChange(showCount);
onStanding(showCount);
showCount();
keepSending();
tidy();
install();
document.documentElement.dataset.ready = "yes";
