// The phone's own database. Opened anew for each transaction: phones close connections of sleeping pages.
const NAME = "ooid";
const VERSION = 1;

export const ITEMS = "items";
export const LEASES = "leases";

function opened() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      request.result.createObjectStore(ITEMS, { keyPath: "id" });
      request.result.createObjectStore(LEASES, { keyPath: "name" });
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("the database is blocked by another page"));
  });
}

/** Do something with a store in one transaction; what `work` gives (a request or a value) once all is on the disk. */
export async function within(store, mode, work) {
  const database = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const transaction = database.transaction(store, mode, { durability: "strict" });
      const given = work(transaction.objectStore(store));
      transaction.oncomplete = () => resolve(given instanceof IDBRequest ? given.result : given);
      transaction.onabort = () => reject(transaction.error ?? new Error("the phone could not store this"));
    });
  } finally {
    database.close();
  }
}
