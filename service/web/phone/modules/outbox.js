// What was typed and what became of it. An item is waiting, sent, refused or undone; nothing is deleted unsent.
import { ITEMS, within } from "./store.js";
import { person } from "./told.js";

export const WAITING = "waiting", SENT = "sent", REFUSED = "refused", UNDONE = "undone";
const KEPT_AFTER_SENDING = 7 * 24 * 3600 * 1000;
const tabs = "BroadcastChannel" in globalThis ? new BroadcastChannel("ooid-outbox") : null;
const listeners = new Set();

/** Call `listener` after every change of the outbox, in this tab or another. */
export function onChange(listener) {
  listeners.add(listener);
}

function changed() {
  for (const listener of listeners) listener();
}
if (tabs) tabs.onmessage = changed;

function announce() {
  tabs?.postMessage("changed");
  changed();
}

/** Keep new items, all or none; resolves when they are on the disk. */
export async function keep(items) {
  const now = Date.now();
  const whole = items.map((item, index) => ({
    method: "PUT", ifMatch: null, after: null, changes: null, auto: [], // what an item may say
    ...item,
    person, savedAt: now, order: now + index / 1000, state: WAITING, attempted: false, tries: 0, notBefore: 0,
    why: null, version: null, advice: null,
  }));
  await within(ITEMS, "readwrite", (store) => { for (const item of whole) store.put(item); });
  announce();
  return whole;
}

/** Every item, in the order in which they were saved. */
export async function everything() {
  const items = await within(ITEMS, "readonly", (store) => store.getAll());
  return items.sort((one, other) => one.order - other.order);
}

/** Change one item in one transaction, unless `allowed` says no; the item as it then is, or null. */
export async function change(id, changes, allowed = () => true) {
  let result = null;
  await within(ITEMS, "readwrite", (store) => {
    const request = store.get(id);
    request.onsuccess = () => {
      const item = request.result;
      if (!item || !allowed(item)) return;
      result = { ...item, ...(typeof changes === "function" ? changes(item) : changes) };
      store.put(result);
    };
  });
  if (result) announce();
  return result;
}

/** Forget what was sent or undone long ago. */
export async function tidy() {
  const before = Date.now() - KEPT_AFTER_SENDING;
  await within(ITEMS, "readwrite", (store) => {
    const request = store.openCursor();
    request.onsuccess = () => {
      const cursor = request.result;
      if (!cursor) return;
      const item = cursor.value;
      if ((item.state === SENT || item.state === UNDONE) && item.savedAt < before) cursor.delete();
      cursor.continue();
    };
  });
}
