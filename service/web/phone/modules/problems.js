// What kinds of problems mean, in the reader's language; the service itself explains in English.
import { language, t } from "./told.js";

const MEANINGS = {
  "not-allowed": () => t("you may not record this here"),
  "not-found": () => t("it is not there any more, or not for you to see"),
  conflict: () => t("it contradicts what is recorded"),
  stale: () => t("somebody changed it meanwhile: read it again"),
  "too-large": () => t("it is too large"),
  unacceptable: () => t("something in it cannot be accepted"),
  "needs-confirmation": () => t("the value is unusual: look again and confirm it"),
  "key-reused": () => t("it contradicts what is recorded"),
};

/** Why an item was refused: in the reader's words as far as there are any, else in the service's. */
export function whyWords(why) {
  const meaning = language === "en" ? null : MEANINGS[why?.kind]?.();
  return meaning ?? why?.detail ?? "";
}

/** What the service said, where `whyWords` says less: English, to be marked as such. */
export function servicesWords(why) {
  return why?.detail && whyWords(why) !== why.detail ? why.detail : null;
}
