// One sender at a time across the tabs of this browser. Web Locks need TLS; without it a lease in the database does.
import { newId } from "./ids.js";
import { LEASES, within } from "./store.js";

const NAME = "ooid-sender";
const LEASE_MILLISECONDS = 120_000; // longer than one round of sending; a tab that died frees it by then
const GIVE_UP_AFTER = 90_000;

/** Run `work` when no other tab does: waits for its turn, takes it over from a tab that fell asleep. */
export async function inTurn(work) {
  if (!navigator.locks) return withLease(work);
  const patience = new AbortController();
  const timer = setTimeout(() => patience.abort(), GIVE_UP_AFTER);
  try {
    return await navigator.locks.request(NAME, { signal: patience.signal }, () => {
      clearTimeout(timer);
      return work();
    });
  } catch (error) {
    if (error.name !== "AbortError") throw error;
    return navigator.locks.request(NAME, { steal: true }, work);
  }
}

async function withLease(work) {
  const holder = newId();
  let mine = false;
  await within(LEASES, "readwrite", (store) => {
    const request = store.get(NAME);
    request.onsuccess = () => {
      mine = !request.result || request.result.until < Date.now();
      if (mine) store.put({ name: NAME, holder, until: Date.now() + LEASE_MILLISECONDS });
    };
  });
  if (!mine) return undefined; // the other tab reads the outbox until it is empty; the timer asks again
  try {
    return await work();
  } finally {
    await within(LEASES, "readwrite", (store) => {
      const request = store.get(NAME);
      request.onsuccess = () => { if (request.result?.holder === holder) store.delete(NAME); };
    });
  }
}
