// Replicates: another value of the same sample, in a field of its own under the first.
import { typed } from "./numbers.js";
import { t } from "./told.js";

/** Let every reading of a form take further values of the same sample. */
export function wireReplicates(form) {
  for (const entry of form.querySelectorAll("[data-quantity]")) {
    const button = entry.querySelector("[data-again]"), first = entry.querySelector("[data-value]");
    if (!button) continue;
    const offer = () => { button.hidden = typed(first.value) === null; };
    form.addEventListener("input", offer);
    form.addEventListener("saved", offer);
    offer();
    button.addEventListener("click", () => add(entry, first));
  }
}

/** Another field of an entry, focused. */
export function add(entry, first) {
  const holder = first.closest(".typed").cloneNode(true);
  const input = holder.querySelector("input");
  const count = entry.querySelectorAll("[data-value]").length + 1;
  holder.dataset.extra = "yes";
  input.id = `${first.id}-${count}`;
  input.value = "";
  input.setAttribute("aria-label", t("{what}, same sample, value {count}", { what: entry.dataset.title, count }));
  [...entry.querySelectorAll(".typed:has([data-value])")].at(-1).after(holder);
  input.focus();
}
