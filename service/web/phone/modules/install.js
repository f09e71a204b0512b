// What makes the form work without a network: the service worker, lasting storage, and pages kept ahead of time.
import { person, t } from "./told.js";

const OWNER = "ooid-pages-of";

/** Say something at the foot of the page that stays true. */
export function notice(words) {
  const holder = document.querySelector("[data-notices]");
  if ([...holder.children].some((each) => each.textContent === words)) return;
  const element = document.createElement("p");
  element.className = "notice";
  element.textContent = words;
  holder.append(element);
}

/** Install the service worker; without TLS there is none, and the page says so. */
export async function install() {
  navigator.storage?.persist?.().catch(() => {});
  if (!("serviceWorker" in navigator)) {
    notice(isSecureContext
      ? t("This browser cannot keep pages. What you save stays on this phone while the page can be loaded.")
      : t("Without TLS (https) this phone cannot open the form while the service is out of reach. What you save is still kept on this phone: leave the page open until it is sent."));
    return;
  }
  try {
    await navigator.serviceWorker.register("/sw.js");
    const worker = (await navigator.serviceWorker.ready).active;
    if (localStorage.getItem(OWNER) !== person.id) {
      worker.postMessage({ what: "forget pages" });
      localStorage.setItem(OWNER, person.id);
    }
    const links = [...document.querySelectorAll("a[data-keep]")].map((link) => link.dataset.keep || link.getAttribute("href"));
    worker.postMessage({ what: "keep pages", paths: [location.pathname, "/phone", "/phone/waiting", ...links] });
  } catch {
    notice(t("This browser cannot keep pages. What you save stays on this phone while the page can be loaded."));
  }
}
