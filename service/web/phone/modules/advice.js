// After a save: does the expected course say to test again? Advice only; saving and sending never wait for it.
import { change } from "./outbox.js";
import { onSent } from "./sender.js";
import { written } from "./numbers.js";
import { place, t } from "./told.js";

const KNOWN = new Set(["alkalinity", "calcium", "magnesium"]);
const STILL_AT_THE_TANK = 3600 * 1000, ANSWER_WITHIN = 15_000;

/** Ask about every reading that was sent while its sample is still at hand. */
export function askTheCourse() {
  onSent((item) => { if (isAsked(item)) ask(item).catch(() => {}); });
}

function isAsked(item) {
  const { quantity, purpose } = item.body;
  return item.kind === "readings" && KNOWN.has(quantity) && !purpose && place?.system_id && item.placeCode === place.code
    && Date.now() - item.savedAt < STILL_AT_THE_TANK;
}

async function ask(item) {
  const { quantity, value, unit, taken_at, method, conditions } = item.body;
  const answer = await fetch(`/v1/systems/${place.system_id}/consumption/check`, {
    method: "POST", headers: { "Content-Type": "application/json" }, signal: AbortSignal.timeout(ANSWER_WITHIN),
    body: JSON.stringify({ quantity, value, unit, taken_at, ...(method ? { method } : {}), ...(conditions ? { conditions } : {}) }),
  });
  if (!answer.ok) return;
  const { verdict, score } = await answer.json();
  if (verdict !== "test_again") return;
  const words = t("{count} sd off the expected course: test again?", { count: written(Math.round(Math.abs(score))) });
  await change(item.id, { advice: words });
}
