// One form at a time: the others are a list of links, and the address says which one is open.

/** Show the form that the address names, and offer the others. */
export function wireChoices() {
  const forms = [...document.querySelectorAll("section.form")], list = document.querySelector("[data-choices]");
  if (!forms.length || !list) return; // the page of a change of shifts shows all it has
  for (const form of forms) {
    const item = document.createElement("li"), link = document.createElement("a");
    link.href = `#${form.id}`;
    link.textContent = form.querySelector("h2").textContent;
    item.append(link);
    list.append(item);
  }
  const show = (focused) => {
    const chosen = forms.find((form) => `#${form.id}` === location.hash) ?? forms[0];
    forms.forEach((form, index) => {
      form.hidden = form !== chosen;
      list.children[index].hidden = form === chosen;
    });
    document.title = `${chosen.querySelector("h2").textContent}, ${document.querySelector("h1").firstChild.textContent.trim()}`;
    if (!focused) return;
    scrollTo(0, 0);
    chosen.querySelector("input, textarea, select")?.focus({ preventScroll: true });
  };
  addEventListener("hashchange", () => show(true));
  show(false);
  list.closest("nav").hidden = forms.length < 2;
}

/** Small dependencies inside forms: a calibration's fields, where corals moved to, the unit of a set-point. */
export function wireDependents() {
  chosenPlan();
  depend("work", "kind", (form, value) => { form.querySelector("[data-calibration]").hidden = value !== "calibration"; });
  depend("stock", "kind", (form, value) => { form.querySelector("[data-moved]").hidden = value !== "moved"; });
  depend("setting", "quantity", (form) => {
    form.querySelector(".unit").textContent = form.elements.quantity.selectedOptions[0].dataset.symbol;
  });
  depend("top-off", "liquid", (form, value) => {
    form.elements.strength.closest(".entry").hidden = value !== "limewater";
    form.querySelector(".caution").hidden = value !== "limewater";
  });
}

/** From a round the address names the plan: what it asks for is filled in, to be changed or saved as it is. */
function chosenPlan() {
  const form = document.querySelector('form[data-form="work"]'), plan = new URLSearchParams(location.search).get("plan");
  const chosen = [...(form?.elements.plan_id?.options ?? [])].find((option) => plan && option.value === plan);
  if (!chosen) return;
  form.elements.plan_id.value = plan;
  if (!form.elements.what.value) form.elements.what.value = chosen.dataset.what;
  form.elements.kind.value = chosen.dataset.kind;
}

function depend(name, field, follow) {
  const form = document.querySelector(`form[data-form="${name}"]`);
  if (!form) return;
  const apply = () => follow(form, form.elements[field].value);
  form.addEventListener("change", apply);
  form.addEventListener("saved", apply);
  apply();
}

/** Narrow a long list of places to those that hold what is typed. */
export function wireFinding() {
  const box = document.querySelector("[data-find]");
  if (!box) return;
  box.hidden = false;
  const places = [...document.querySelectorAll(".places li")];
  box.querySelector("input").addEventListener("input", (event) => {
    const words = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const each of places) each.hidden = !words.every((word) => each.textContent.toLowerCase().includes(word));
  });
  for (const button of document.querySelectorAll("[data-language]")) {
    button.addEventListener("click", () => {
      document.cookie = `ooid_language=${button.dataset.language}; path=/; max-age=31536000; samesite=lax`;
      navigator.serviceWorker?.controller?.postMessage({ what: "forget pages" });
      location.reload();
    });
  }
}
