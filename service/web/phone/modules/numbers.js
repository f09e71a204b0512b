// Numbers as people type them, with a comma or a point, and as they read them.
import { language } from "./told.js";

/** The number typed; null for nothing, NaN for what could be read in two ways or is no number. */
export function typed(text) {
  const bare = text.trim().replace(/\u2212/g, "-");
  if (bare === "") return null;
  return /^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/.test(bare) ? Number(bare.replace(",", ".")) : NaN;
}

/** A number to four digits in the reader's own writing, without grouping. */
export function written(value) {
  return new Intl.NumberFormat(language, { maximumSignificantDigits: 4, useGrouping: false }).format(value);
}
