"""Labels: one for every place, and a symbol that holds the address of its form."""

from __future__ import annotations

import re

import segno
from support.house import House
from web.visitor import look, signed_in

from service.web.phone.labels import symbol_of

DARK_RUN = re.compile(r"[mM](-?\d+(?:\.\d+)?) (-?\d+(?:\.\d+)?)h(\d+)")


def test_every_place_has_its_label(house: House) -> None:
    site = house.a_site(tag="labelled", name="The Reefhouse")
    system = house.a_system(site, name="<b>Lagoon</b>")
    pump = house.call("POST", "/v1/equipment", {"site_id": site["id"], "tag": "pump-1", "kind": "pump"})
    page = look(house, "/phone/labels/labelled", signed_in(house)).text
    assert page.count('class="qr"') == 2
    for thing in (system, pump):
        assert f'<span class="code">{thing["label_code"]}</span>' in page
    assert "<b>Lagoon</b>" not in page
    assert "&lt;b&gt;Lagoon" in page
    assert "<b>http://ooid.test</b>" in page


def test_a_symbol_is_drawn_as_the_standard_has_it() -> None:
    """ISO/IEC 18004: version 3 has 29 modules a side, four empty ones around, a 7-module finder in three corners."""
    address = "https://ooid.example.org/t/23456789"
    drawn = str(symbol_of(address))
    side = int(re.search(r'viewBox="0 0 (\d+) \1"', drawn)[1])  # type: ignore[index]
    assert side == 29 + 2 * 4
    dark, row, column = set(), 0.0, 0.0
    for across, down, run in DARK_RUN.findall(drawn):
        row, column = (row + float(down), column + float(across)) if dark else (float(down), float(across))
        dark |= {(int(row - 0.5), int(column) + step) for step in range(int(run))}
        column += int(run)
    for top, left in ((4, 4), (4, 26), (26, 4)):
        assert {(top, left + step) for step in range(7)} <= dark
        assert (top + 1, left + 1) not in dark
    expected = segno.make(address, error="M", micro=False).matrix
    assert dark == {(r + 4, c + 4) for r, line in enumerate(expected) for c, module in enumerate(line) if module}
