"""The round on a phone: readable without a network, a saved reading counts at once, a skipped one is told with why."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from browser.phone.conftest import Hall, Phone, aside
from browser.phone.typing_in import ready_without_network, save_reading, until, wait_until

pytestmark = pytest.mark.browser


def test_a_round_without_a_network(hall: Hall, phone: Phone, cookie: str) -> None:
    site = aside(lambda: hall.house.a_site(tag="walked", name="The walk", units={"alkalinity": "dKH"}, time_zone="UTC"))
    system = aside(lambda: hall.house.a_system(site, name="Lagoon"))
    now = datetime.now(UTC)
    for quantity, value, unit in (("alkalinity", 8.0, "dKH"), ("temperature", 25.0, "Cel")):
        for back in range(5, 0, -1):
            at = (now - timedelta(days=back)).isoformat()
            read = {"quantity": quantity, "unit": unit, "taken_at": at}
            aside(lambda read=read, value=value: hall.house.a_reading(system["id"], value, **read))
    phone.options["timezone_id"] = "UTC"
    phone.stop()
    phone.start()
    phone.sign_in(cookie, hall.url)
    page = phone.open(f"{hall.url}/t/{system['label_code']}")
    ready_without_network(page)
    page.goto(f"{hall.url}/phone/round/walked")
    page.locator("[data-progress]").get_by_text("0 of 2 done").wait_for()
    until(page, "async () => (await caches.match(location.pathname)) !== undefined")

    phone.context.set_offline(True)  # type: ignore[union-attr]
    page.reload()
    page.get_by_role("link", name="Alkalinity").click()
    page.wait_for_selector("html[data-ready]")
    save_reading(page, "8.1")
    page.goto(f"{hall.url}/phone/round/walked")
    page.locator("[data-progress]").get_by_text("1 of 2 done").wait_for()
    page.get_by_role("button", name="Skip", exact=True).click()
    page.get_by_label("Why").fill("the probe is broken")
    page.get_by_role("button", name="Skip it").click()
    page.locator("[data-progress]").get_by_text("2 of 2 done").wait_for()

    phone.context.set_offline(False)  # type: ignore[union-attr]
    wait_until(page, "sent", 2)
    notes = hall.call("GET", f"/v1/handovers?site={site['id']}")
    assert [each["text"] for each in notes] == ["Skipped: Temperature, Lagoon, because the probe is broken"]
    assert len(hall.readings(system["id"])) == 11
