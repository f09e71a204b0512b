"""On plain http beyond this machine browsers give neither service workers nor locks: the form says so, and works."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from browser.phone.conftest import Hall, Phone
from browser.phone.typing_in import save_reading, stored, wait_until
from support.lossy import Lossy

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Playwright

pytestmark = pytest.mark.browser

NAME = "hall.test"  # a name under which this machine is no `localhost` to the browser (RFC 6761 keeps .test free)


@pytest.fixture
def phone(playwright: Playwright, tmp_path: Path) -> Iterator[Phone]:
    """A phone on the hall's own network, without TLS."""
    phone = Phone(playwright, tmp_path / "profile", arguments=[f"--host-resolver-rules=MAP {NAME} 127.0.0.1"])
    phone.start()
    yield phone
    phone.stop()
    assert phone.complaints == []


def test_it_says_so_and_two_tabs_still_send_each_entry_once(
    hall: Hall, phone: Phone, cookie: str, lossy: Lossy
) -> None:
    system = hall.a_system(name="Lagoon")
    base = lossy.url.replace("localhost", NAME)
    phone.sign_in(cookie, base)
    first, second = (phone.open(f"{base}/t/{system['label_code']}") for _ in range(2))
    assert first.evaluate("isSecureContext || 'locks' in navigator || 'serviceWorker' in navigator") is False
    first.locator("[data-notices]").get_by_text("Without TLS").wait_for()
    lossy.may_answer.clear()
    for number, page in enumerate((first, second, first)):
        save_reading(page, f"{8 + number / 10:.1f}")
    assert {item["state"] for item in stored(first)} == {"waiting"}
    lossy.may_answer.set()
    for page in (first, second):
        wait_until(page, "sent", 3)
    assert [row.entered["value"] for row in hall.readings(system["id"])] == [8.0, 8.1, 8.2]
    paths = [each.path for each in lossy.seen("PUT")]
    assert len(paths) == len(set(paths)) == 3
