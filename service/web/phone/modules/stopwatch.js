// The timed drip: a watch, a volume, and the flow they make, put into the flow's own field.
import { writeDown } from "./drafts.js";
import { tell } from "./entries.js";
import { typed, written } from "./numbers.js";
import { t } from "./told.js";

const TICK = 100, SHORTEST_SECONDS = 1;
const PER_MINUTE = { "mL/min": 1, "L/h": 0.06, "L/d": 1.44, "mL/h": 60, "L/min": 0.001, "mL/s": 1 / 60 };

/** Make the watch of a form work, where it has one. */
export function wireStopwatch(form) {
  const timer = form.querySelector("[data-timer]");
  const flow = form.querySelector('[data-quantity="effluent_flow"]');
  if (!timer || !flow || !(flow.dataset.unit in PER_MINUTE)) return;
  const shown = timer.querySelector("[data-elapsed]"), button = timer.querySelector("[data-run]"), volume = timer.querySelector("input");
  let begun = 0, seconds = 0, ticking = 0;
  timer.hidden = false;
  form.addEventListener("saved", () => { seconds = 0; show(); });

  button.addEventListener("click", () => {
    if (ticking) {
      clearInterval(ticking);
      ticking = 0;
      seconds = (performance.now() - begun) / 1000;
      button.textContent = t("Start the watch anew");
      volume.focus();
    } else {
      begun = performance.now();
      ticking = setInterval(() => { seconds = (performance.now() - begun) / 1000; show(); }, TICK);
      button.textContent = t("Stop the watch");
    }
    show();
    fill();
  });
  volume.addEventListener("input", fill);

  function show() {
    shown.textContent = `${seconds.toFixed(1)} s`;
  }

  function fill() {
    const millilitres = typed(volume.value);
    if (ticking || !(millilitres > 0) || seconds < SHORTEST_SECONDS) return;
    const input = flow.querySelector("[data-value]");
    input.value = written((millilitres / seconds) * 60 * PER_MINUTE[flow.dataset.unit]);
    flow.dataset.timed = input.value;
    tell(flow);
    writeDown(form);
  }
}
