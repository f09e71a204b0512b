// Narrows the reference to the operations and shapes whose text holds every word typed.
const WAIT_MILLISECONDS = 120;
const box = document.getElementById("find");
const found = document.getElementById("found");
const entries = [...document.querySelectorAll(".operation, .shape")].map((element) => ({
  element,
  text: element.textContent.toLowerCase(),
}));
const surroundings = [...document.querySelectorAll(".lines, .chapter > h2, #problems-explained")];
let waiting = 0;

function narrow() {
  const words = box.value.toLowerCase().split(/\s+/).filter(Boolean);
  let count = 0;
  for (const { element, text } of entries) {
    const holds = words.every((word) => text.includes(word));
    element.hidden = !holds;
    count += holds ? 1 : 0;
  }
  for (const element of surroundings) element.hidden = words.length > 0;
  found.textContent = words.length ? `${count} of ${entries.length} entries hold this` : "";
}

box.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(narrow, WAIT_MILLISECONDS);
});
box.closest(".find").hidden = false;
