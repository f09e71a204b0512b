// What every form does: keep the draft, say what is wrong, save on the phone, and only then let it be sent.
import { dose, media, topOff, waterChange } from "./additions.js";
import { rfc3339 } from "./clock.js";
import { forget, putBack, writeDown } from "./drafts.js";
import { tell } from "./entries.js";
import { newId } from "./ids.js";
import { setting, stock, swap } from "./changes.js";
import { keep } from "./outbox.js";
import { photoItem, pictureOf, wirePicture } from "./pictures.js";
import { readings } from "./readings.js";
import { send } from "./sender.js";
import { recallSolution } from "./solutions.js";
import { begin, step } from "./steps.js";
import { takeover } from "./takeover.js";
import { handover, observation, work } from "./work.js";
import { place, t } from "./told.js";

const BUILDERS = {
  begin, step, readings, dose, media, setting, stock, swap, work, handover, takeover, observation, "top-off": topOff, "water-change": waterChange,
};

/** Make every form of the page work; `onSaved(form, items)` is called when they are on the phone. */
export function wireForms(onSaved) {
  for (const form of document.querySelectorAll("form[data-form]")) {
    if (form.dataset.form === "dose") recallSolution(form);
    wirePicture(form);
    const had = putBack(form);
    if (had) {
      for (const entry of form.querySelectorAll(".entry")) tell(entry);
      say(form, t("What you had typed is still here, not saved yet."));
    }
    form.addEventListener("input", (event) => {
      writeDown(form);
      const entry = event.target.closest(".entry");
      if (entry) tell(entry);
    });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      save(form, onSaved).catch((error) => say(form, t("Not saved: {why}", { why: error?.message ?? String(error) })));
    });
  }
}

/** Say something beside the button of a form. */
export function say(form, words) {
  form.querySelector(".bar .said").textContent = words;
}

async function save(form, onSaved) {
  if (form.dataset.saving) return;
  const fault = firstFault(form);
  if (fault) {
    open(fault);
    fault.focus();
    return;
  }
  const taken = rfc3339(form.elements.when?.value ? Date.parse(form.elements.when.value) : Date.now());
  const built = BUILDERS[form.dataset.form](form, { taken });
  if (built.missing || built.length === 0) {
    (built.missing ?? form.querySelector("[data-value]")).focus();
    say(form, built.words ?? t("Nothing is filled in yet."));
    return;
  }
  form.dataset.saving = "yes";
  try {
    const isOwnTime = Boolean(form.elements.when?.value), picture = await pictureOf(form);
    if (picture) built.push(photoItem(picture, built[0], taken));
    const group = newId();
    const items = await keep(built.map((each) => whole(each, group, isOwnTime)));
    forget(form);
    form.reset();
    if (form.dataset.form === "dose") recallSolution(form);
    for (const extra of form.querySelectorAll("[data-extra]")) extra.remove();
    for (const entry of form.querySelectorAll(".entry")) tell(entry);
    form.dispatchEvent(new CustomEvent("saved"));
    onSaved(form, items);
    send();
  } finally {
    delete form.dataset.saving;
  }
}

function whole(built, group, isOwnTime) {
  return {
    ...built, group, auto: isOwnTime ? [] : built.auto, isRecord: Boolean(built.kind),
    path: built.path ?? `/v1/${built.kind}/${built.id}`,
    placeCode: place.code, placeName: place.name,
  };
}

function firstFault(form) {
  let fault = null;
  for (const entry of form.querySelectorAll(".entry")) {
    if (!tell(entry)) fault ??= entry.querySelector(".right-after-all:not([hidden]) input") ?? entry.querySelector("input");
  }
  fault ??= missingCondition(form);
  const empty = [...form.querySelectorAll("[required]")].find((field) => !field.value.trim() && !field.closest("[hidden]"));
  if (!fault && empty) say(form, t("This is still needed."));
  return fault ?? empty ?? null;
}

/** A condition without which a typed value means nothing. */
function missingCondition(form) {
  for (const entry of form.querySelectorAll("[data-quantity]")) {
    const isFilled = [...entry.querySelectorAll("[data-value]")].some((input) => input.value.trim());
    const empty = [...entry.querySelectorAll("[data-condition]")].map((each) => each.querySelector("input, select")).find((field) => !field.value.trim());
    if (isFilled && empty) {
      say(form, t("This is still needed."));
      return empty;
    }
  }
  return null;
}

function open(element) {
  const folded = element.closest("details");
  if (folded) folded.open = true;
}
