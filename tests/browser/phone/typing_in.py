"""What somebody does on a phone, and what the page then says."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

PATIENCE_SECONDS = 60.0  # two slow cores
ITEMS = """() => new Promise((resolve, reject) => {
  const request = indexedDB.open("ooid");
  request.onerror = () => reject(request.error);
  request.onsuccess = () => {
    const database = request.result;
    if (!database.objectStoreNames.contains("items")) { database.close(); resolve([]); return; }
    const all = database.transaction("items").objectStore("items").getAll();
    all.onsuccess = () => { database.close(); resolve(all.result); };
  };
})"""


def until(page: Page, expression: str) -> None:
    """Wait until an expression of the page holds. Our policy forbids what Playwright's own waiting does."""
    end = time.monotonic() + PATIENCE_SECONDS
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"it never came: {expression}"
        page.wait_for_timeout(50)


def save_reading(page: Page, value: str, label: str = "Alkalinity") -> None:
    """Type a value and save it; returns when the phone has it."""
    before = len(stored(page))
    reading(page, label).fill(value)
    page.get_by_role("button", name="Save", exact=True).click()
    until(page, f"async () => (await ({ITEMS})()).length > {before}")
    until(page, "document.querySelector('#r-alkalinity').value === ''")


def reading(page: Page, label: str) -> Locator:
    """The field of a quantity in the reading set."""
    return page.locator("#readings").get_by_label(label, exact=True)


def stored(page: Page) -> list[dict[str, Any]]:
    """Every item in the phone's own database."""
    items: list[dict[str, Any]] = page.evaluate(ITEMS)
    return items


def states(page: Page) -> list[str]:
    """The states of all items, in order."""
    return [item["state"] for item in sorted(stored(page), key=lambda item: item["order"])]


def wait_until(page: Page, state: str, count: int) -> None:
    """Wait until so many items of the phone are in this state, and none in another."""
    until(
        page,
        f"async () => {{ const all = await ({ITEMS})();"
        f" return all.length === {count} && all.every((item) => item.state === '{state}'); }}",
    )


def ready_without_network(page: Page) -> None:
    """Wait until the service worker has the page and its files."""
    until(page, "navigator.serviceWorker.controller !== null")
    until(page, "async () => (await caches.match(location.pathname)) !== undefined")
