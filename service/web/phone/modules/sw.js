// The service worker: pages and files of the form when there is no network. It never touches what is sent, and never
// keeps an answer of the API. SHELL (in front of this text) names the version and its files.
const FILES = `ooid files ${SHELL.name}`, PAGES = "ooid pages";
const PATIENCE = 3_000, FRESH = 6 * 3600 * 1000, AT_ONCE = 2;
const IS_PAGE = /^\/(t\/[0-9A-Za-z]+(\/[a-z0-9_]+)?|phone(\/waiting|\/(round|handover)\/[^/]+)?)$/;

addEventListener("install", (event) => {
  event.waitUntil(caches.open(FILES).then((cache) => cache.addAll(SHELL.files)).then(() => skipWaiting()));
});

addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const names = await caches.keys();
    await Promise.all(names.filter((name) => name.startsWith("ooid files ") && name !== FILES).map((name) => caches.delete(name)));
    await clients.claim();
  })());
});

addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(file(event.request));
  else if (event.request.mode === "navigate" && IS_PAGE.test(url.pathname)) event.respondWith(page(event, url));
});

addEventListener("message", (event) => {
  if (event.data.what === "forget pages") event.waitUntil(caches.delete(PAGES));
  if (event.data.what === "keep pages") event.waitUntil(keepAhead(event.data.paths));
});

async function file(request) {
  return (await caches.match(request)) ?? fetch(request);
}

/** The page from the network; from the phone when that takes too long, fails, or the sign-in has ended. */
async function page(event, url) {
  const path = url.pathname, isAside = ["since", "days"].some((each) => url.searchParams.has(each)); // another list than the one to be kept
  const cached = await (await caches.open(PAGES)).match(path);
  const fetched = fetch(event.request).then((answer) => (isAside ? answer : kept(path, answer)));
  event.waitUntil(fetched.catch(() => {}));
  if (!cached) return fetched.catch(() => unknown());
  const slow = new Promise((resolve) => setTimeout(resolve, PATIENCE, null));
  const answer = await Promise.race([fetched.catch(() => null), slow]);
  return answer && answer.status !== 401 && answer.status < 500 ? answer : cached;
}

async function kept(path, answer) {
  if (answer.ok && !answer.redirected) {
    const headers = new Headers(answer.headers);
    headers.set("X-Kept-At", String(Date.now()));
    const copy = new Response(await answer.clone().blob(), { status: 200, headers });
    await (await caches.open(PAGES)).put(path, copy);
  }
  return answer;
}

/** Keep pages before they are asked for, a few at a time; those kept lately are left alone. */
async function keepAhead(paths) {
  const cache = await caches.open(PAGES), left = [...new Set(paths)].filter((path) => IS_PAGE.test(path));
  const work = async () => {
    for (let path = left.shift(); path; path = left.shift()) {
      const held = await cache.match(path);
      if (held && Date.now() - Number(held.headers.get("X-Kept-At")) < FRESH) continue;
      await fetch(path, { credentials: "same-origin", headers: { Accept: "text/html" } }).then((answer) => kept(path, answer)).catch(() => { left.length = 0; });
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, work));
}

function unknown() {
  const words = navigator.language.startsWith("de")
    ? ["Diese Seite ist noch nicht auf diesem Telefon", "Sobald der Dienst erreichbar ist, öffnen Sie einmal „Alle Orte“: danach geht jede Seite auch ohne Netz. Was gespeichert wurde, wartet hier.", "Alle Orte"]
    : ["This page is not on this phone yet", "Open “All places” once while the service can be reached: after that every page opens without a network. What was saved waits here.", "All places"];
  const language = navigator.language.startsWith("de") ? "de" : "en";
  const style = SHELL.files.find((each) => each.endsWith("paper.css"));
  const html = `<!doctype html><html lang="${language}"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>${words[0]}</title><link rel="stylesheet" href="${style}"><main><h1>${words[0]}</h1><p>${words[1]}</p><p><a href="/phone">${words[2]}</a></p></main></html>`;
  return new Response(html, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
}
