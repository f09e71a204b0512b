"""What a phone needs to put the form among its programs (W3C Web Application Manifest): pictures of stated size."""

from __future__ import annotations

import struct

from support.house import House
from web.visitor import look, signed_in

PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"  # W3C Portable Network Graphics, 5.2


def size_of(picture: bytes) -> str:
    """Width and height as a PNG states them in its IHDR chunk (W3C Portable Network Graphics, 11.2.1)."""
    assert picture.startswith(PNG_SIGNATURE)
    width, height = struct.unpack(">II", picture[16:24])
    return f"{width}x{height}"


def test_every_painted_picture_is_of_the_size_it_is_listed_with(house: House) -> None:
    manifest = look(house, "/app.webmanifest").json()
    painted = [each for each in manifest["icons"] if each["type"] == "image/png"]
    assert [each["sizes"] for each in painted] == ["192x192", "512x512"]
    for each in painted:
        answer = look(house, each["src"])
        assert answer.headers["content-type"] == "image/png"
        assert size_of(answer.content) == each["sizes"]


def test_the_page_names_a_picture_for_home_screens_and_the_worker_keeps_none(house: House) -> None:
    system = house.a_system()
    page = look(house, f"/t/{system['label_code']}", signed_in(house)).text
    address = page.partition('<link rel="apple-touch-icon" href="')[2].partition('"')[0]
    assert size_of(look(house, address).content) == "180x180"
    assert ".png" not in look(house, "/sw.js").text.partition("\n")[0]
