// What was typed and not yet saved: written down at every keystroke, there again after a reload.
const PREFIX = "ooid-draft ";
const NOT_WRITTEN = new Set(["submit", "button", "file"]); // a page cannot put a chosen file back

function key(form) {
  return PREFIX + location.pathname + " " + (form.dataset.draft ?? form.dataset.form);
}

function fields(form) {
  return [...form.elements].filter((each) => each.id && !NOT_WRITTEN.has(each.type));
}

/** Write down what stands in a form. */
export function writeDown(form) {
  const content = {};
  for (const each of fields(form)) {
    const value = each.type === "checkbox" ? each.checked : each.value;
    const first = each.type === "checkbox" ? each.defaultChecked : each.defaultValue ?? "";
    if (value !== first) content[each.id] = value;
  }
  if (Object.keys(content).length) localStorage.setItem(key(form), JSON.stringify(content));
  else forget(form);
}

/** Put back what was written down; true when there was something. */
export function putBack(form) {
  const content = JSON.parse(localStorage.getItem(key(form)) ?? "{}");
  for (const each of fields(form)) {
    if (!(each.id in content)) continue;
    if (each.type === "checkbox") each.checked = content[each.id];
    else each.value = content[each.id];
  }
  return Object.keys(content).length > 0;
}

/** Forget it: it was saved. */
export function forget(form) {
  localStorage.removeItem(key(form));
}
