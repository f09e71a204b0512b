// A field for a number: told at once when it cannot be, asked about when it hardly can.
import { typed, written } from "./numbers.js";
import { t } from "./told.js";

const SLIP = 5; // a value five times the last one, or a fifth of it, is a slipped decimal more often than the truth

/** The number in an input of an entry, with what is wrong (`""` when nothing is) and whether it wants confirming. */
export function judged(entry, input) {
  const value = typed(input.value);
  if (value === null) return { value: null, wrong: "", doubt: "" };
  if (Number.isNaN(value)) return { value, wrong: t("Not a number: write 8.2 or 8,2, without thousands marks."), doubt: "" };
  const [low, high] = bounds(entry.dataset.possible) ?? [number(entry.dataset.low), number(entry.dataset.high)];
  if (value < (low ?? -Infinity) || value > (high ?? Infinity)) return { value, wrong: impossible(low, high, unit(entry)), doubt: "" };
  return { value, wrong: "", doubt: doubt(entry, value) };
}

/** Say under the entry what is wrong with its values; true when they can be saved. */
export function tell(entry) {
  const told = entry.querySelector(".wrong"), right = entry.querySelector(".right-after-all");
  const all = [...entry.querySelectorAll("[data-value], [data-number]")].map((input) => ({ input, ...judged(entry, input) }));
  const wrong = all.find((each) => each.wrong), doubtful = all.find((each) => each.doubt);
  for (const each of all) each.input.setAttribute("aria-invalid", each.wrong ? "true" : "false");
  if (right) {
    right.hidden = !doubtful || Boolean(wrong);
    if (right.hidden) right.querySelector("input").checked = false;
  }
  const words = wrong?.wrong ?? doubtful?.doubt ?? "";
  if (told.textContent !== words) told.textContent = words;
  told.hidden = !words;
  return !wrong && (!doubtful || right?.querySelector("input").checked !== false);
}

/** Whether an entry's value was doubtful and confirmed. */
export function isConfirmed(entry) {
  return entry.querySelector(".right-after-all input")?.checked ?? false;
}

function doubt(entry, value) {
  if (entry.dataset.asked) return outsideAsked(entry, value);
  const plausible = bounds(entry.dataset.plausible);
  if (plausible && (value < plausible[0] || value > plausible[1])) {
    return t("{value} is outside the usual {low} to {high} {unit}. Is it right?", {
      value: written(value), low: written(plausible[0]), high: written(plausible[1]), unit: unit(entry),
    }).replace(" .", ".");
  }
  const last = number(entry.dataset.last);
  if (last !== undefined && last > 0 && value > 0 && (value >= last * SLIP || value <= last / SLIP)) {
    return t("The last value was {last}. Is {value} right?", { last: written(last), value: written(value) });
  }
  return "";
}

/** What a step of a procedure asks for, and a value does not meet. */
function outsideAsked(entry, value) {
  const [low, high] = bounds(entry.dataset.asked), above = number(entry.dataset.aboveValue);
  if (value < low || value > high) {
    return t("Asked for is {low} to {high} {unit}. Put it right and measure again, or say why it is so.", {
      low: written(low), high: written(high), unit: unit(entry),
    }).replace(" .", ".");
  }
  if (above === undefined || value > above) return "";
  return t("It must be more than {value} {unit}, read at the step “{what}”. Put it right and measure again, or say why it is so.", {
    value: written(above), unit: unit(entry), what: entry.dataset.aboveTitle,
  });
}

function impossible(low, high, unit) {
  if (low === undefined) return t("At most {high} {unit} is possible.", { high: written(high), unit });
  if (high === undefined) return t("At least {low} {unit} is possible.", { low: written(low), unit });
  return t("Only {low} to {high} {unit} is possible.", { low: written(low), high: written(high), unit }).replace("  ", " ");
}

function unit(entry) {
  return entry.dataset.symbol ?? entry.querySelector(".unit")?.textContent ?? "";
}

function bounds(text) {
  return text ? text.split(" ").map(Number) : null;
}

function number(text) {
  return text === undefined || text === "" ? undefined : Number(text);
}
