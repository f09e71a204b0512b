"""Photos of subjects and of records: stored once with their bytes, shown to those who may, withdrawn, checked."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4

import pytest
from access.conversation import asgi
from PIL import Image
from sqlmodel import select
from support.camera import drawn, photo
from support.house import House

from service.resources.records import checking
from service.resources.records.photos.models import Photo, PhotoPicture
from service.storage.database import Database

LIMIT = 200_000


@pytest.fixture
def house(database: Database) -> House:
    """A service that takes small pictures only, so that large ones are quickly made."""
    return House(database, photo_limit_bytes=LIMIT)


def path_of(house: House, photo_id: str | None = None, /, **said: str) -> str:
    query = {"taken_at": house.now.isoformat(), **said}
    return f"/v1/photos/{photo_id or uuid4()}?{urlencode(query)}"


def put(house: House, path: str, content: bytes, *, media_type: str = "image/jpeg", **options: Any) -> Any:
    """The response to a picture sent to a path."""
    return house.send("PUT", path, content=content, headers={"Content-Type": media_type}, **options)


def added(house: House, content: bytes | None = None, *, token: str = "", **said: str) -> Any:
    """The photo that was recorded."""
    response = put(house, path_of(house, **said), content or photo(), token=token)
    assert response.status_code == 201, response.text
    return response.json()


def observed(house: House, subject_id: str) -> Any:
    """Something seen at a subject."""
    event = {"subject_id": subject_id, "kind": "inspection", "performed_at": house.now.isoformat(), "what": "seen"}
    return house.call("PUT", f"/v1/maintenance-events/{uuid4()}", event)


def test_a_photo_of_an_observation_is_recorded_once_and_comes_back_as_a_picture(house: House) -> None:
    system = house.a_system()
    event = observed(house, system["id"])
    path = path_of(house, of_kind="maintenance_event", of_id=event["id"], caption="white tips")
    content = photo(orientation=6)
    first = put(house, path, content)
    assert first.status_code == 201
    row = first.json()
    assert first.headers["location"] == f"/v1/photos/{row['id']}"
    assert (row["subject_id"], row["of_kind"], row["of_id"]) == (system["id"], "maintenance_event", event["id"])
    assert (row["caption"], row["width"], row["height"], row["version"]) == ("white tips", 48, 64, 1)
    assert row["sent_sha256"] == hashlib.sha256(content).hexdigest()
    again = put(house, path, content)  # the answer was lost, the phone repeats
    assert (again.status_code, again.json()) == (200, row)
    assert put(house, path, photo(image=drawn(80, 80))).status_code == 409  # other bytes under the same id
    assert house.call("GET", f"/v1/photos?subject={system['id']}") == [row]
    shown = house.send("GET", f"/v1/photos/{row['id']}/picture")
    assert hashlib.sha256(shown.content).hexdigest() == row["sha256"]
    assert len(shown.content) == row["size_bytes"]
    assert Image.open(io.BytesIO(shown.content)).size == (48, 64)


def test_a_picture_is_served_so_that_it_can_do_nothing(house: House) -> None:
    row = added(house, subject_id=house.a_system()["id"])
    for part in ("picture", "thumbnail"):
        shown = house.send("GET", f"/v1/photos/{row['id']}/{part}")
        assert shown.headers["content-type"] == "image/jpeg"
        assert shown.headers["x-content-type-options"] == "nosniff"
        assert shown.headers["content-security-policy"] == "default-src 'none'; sandbox"
        assert shown.headers["content-disposition"].startswith('inline; filename="photo-20260302-')
        assert shown.headers["cache-control"] == "private, no-cache"
        held = house.send("GET", f"/v1/photos/{row['id']}/{part}", headers={"If-None-Match": shown.headers["etag"]})
        assert (held.status_code, held.content) == (304, b"")


def test_a_photo_of_a_handover_without_a_subject(house: House) -> None:
    site = house.a_site()
    content = {"site_id": site["id"], "text": "see the valve", "written_at": house.now.isoformat()}
    handover = house.call("PUT", f"/v1/handovers/{uuid4()}", content)
    row = added(house, of_kind="handover", of_id=handover["id"])
    assert (row["site_id"], row["subject_id"]) == (site["id"], None)


def test_a_withdrawn_picture_is_kept_and_shown_to_supervisors_only(house: House) -> None:
    site = house.a_site()
    keeper, supervisor = house.token("keeper", site=site["id"]), house.token("supervisor", site=site["id"])
    row = added(house, subject_id=house.a_system(site)["id"], token=keeper)
    own = f"/v1/photos/{row['id']}"
    house.call("POST", f"{own}/withdrawal", {"reason": "shows a visitor"}, token=keeper, status=428)
    tag = {"If-Match": '"1"'}
    gone = house.call("POST", f"{own}/withdrawal", {"reason": "shows a visitor"}, token=keeper, headers=tag)
    assert (gone["state"], gone["correction_reason"], gone["version"]) == ("withdrawn", "shows a visitor", 2)
    for part in ("picture", "thumbnail"):
        assert house.send("GET", f"{own}/{part}", token=keeper).status_code == 403
        assert house.send("GET", f"{own}/{part}", token=supervisor).status_code == 200
    assert house.call("GET", "/v1/photos") == []
    assert [each["state"] for each in house.call("GET", f"{own}/versions", token=keeper)] == ["recorded", "withdrawn"]


def test_another_site_neither_sees_nor_adds(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    row = added(house, subject_id=house.a_system(site)["id"])
    event = observed(house, row["subject_id"])
    stranger = house.token("administrator", site=other["id"])
    for part in ("", "/picture", "/thumbnail", "/versions"):
        assert house.send("GET", f"/v1/photos/{row['id']}{part}", token=stranger).status_code == 404
    for said in ({"subject_id": row["subject_id"]}, {"of_kind": "maintenance_event", "of_id": event["id"]}):
        assert put(house, path_of(house, **said), photo(), token=stranger).status_code == 404
    reader = house.token("reader", site=site["id"])
    assert put(house, path_of(house, subject_id=row["subject_id"]), photo(), token=reader).status_code == 403


def test_bad_input_is_named(house: House) -> None:
    subject = house.a_system()["id"]
    event = observed(house, subject)["id"]
    bad = [
        ({}, "subject_id", 422),
        ({"subject_id": subject, "of_kind": "maintenance_event", "of_id": event}, "subject_id", 422),
        ({"of_id": event}, "of_kind", 422),
        ({"of_kind": "maintenance_event"}, "of_id", 422),
        ({"of_kind": "grant", "of_id": event}, "of_kind", 422),
        ({"of_kind": "photo", "of_id": event}, "of_kind", 422),
        ({"of_kind": "handover", "of_id": event}, "of_id", 404),
        ({"subject_id": str(uuid4())}, "subject_id", 404),
        ({"subject_id": subject, "taken_at": "2026-03-02T12:00:00"}, "taken_at", 422),
        ({"subject_id": subject, "taken_at": "2027-01-01T00:00:00Z"}, "taken_at", 422),
        ({"subject_id": subject, "caption": "a\x00b"}, "caption", 422),
        ({"subject_id": subject, "captoin": "tips"}, "captoin", 422),
    ]
    for said, pointer, status in bad:
        response = put(house, path_of(house, **said), photo())
        assert response.status_code == status, (said, response.text)
        assert response.json()["errors"][0]["pointer"] == pointer, response.text
        assert response.json()["errors"][0]["in"] == "query", response.text
    with house.database.read() as session:
        assert session.exec(select(Photo)).all() == []
        assert session.exec(select(PhotoPicture)).all() == []


@pytest.mark.parametrize("media_type", ["", "image/svg+xml", "text/html", "application/json", "image/gif", "image/*"])
def test_another_kind_of_body_is_refused_unread(house: House, media_type: str) -> None:
    response = put(house, path_of(house, subject_id=house.a_system()["id"]), photo(), media_type=media_type)
    assert response.status_code == 422
    assert "image/jpeg, image/png, image/webp" in response.json()["detail"]


def test_what_calls_itself_a_picture_and_is_a_page_is_refused(house: House) -> None:
    path = path_of(house, subject_id=house.a_system()["id"])
    for content in (b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", b"<!doctype html><p>hello"):
        response = put(house, path, content)
        assert (response.status_code, "no picture" in response.json()["detail"]) == (422, True)


def test_a_picture_beyond_the_limit_is_refused_before_it_is_read(house: House) -> None:
    headers = {"Content-Type": "image/jpeg", "Authorization": f"Bearer {house.administrator}"}
    path = path_of(house, subject_id=house.a_system()["id"])
    announced = asgi(house.app, "PUT", path, headers={**headers, "Content-Length": str(LIMIT + 1)}, chunks=[photo()])
    assert (announced.status, announced.bytes_read) == (413, 0)
    assert "Make it smaller" in announced.problem["detail"]
    counted = asgi(house.app, "PUT", path, headers=headers, chunks=[b"\xff" * 10_000] * 100)
    assert (counted.status, "Make it smaller" in counted.problem["detail"]) == (413, True)
    assert LIMIT < counted.bytes_read <= LIMIT + 10_000


def test_who_may_not_record_is_told_before_the_picture_is_read(house: House) -> None:
    reader = house.token("reader")
    headers = {"Content-Type": "image/jpeg", "Authorization": f"Bearer {reader}"}
    answer = asgi(house.app, "PUT", path_of(house), headers=headers, chunks=[photo()])
    assert (answer.status, answer.bytes_read) == (403, 0)


def test_the_pictures_of_a_site_have_a_limit(database: Database) -> None:
    house = House(database, photos_of_site_limit_bytes=2_000)
    subject, other = house.a_system()["id"], house.a_system()["id"]
    sizes = [added(house, photo(image=drawn(64 + step, 48)), subject_id=subject)["size_bytes"] for step in range(2)]
    assert sum(sizes) <= 2_000 < sum(sizes) + min(sizes)
    full = put(house, path_of(house, subject_id=subject), photo(image=drawn(90, 90)))
    assert (full.status_code, "OOID_PHOTOS_OF_SITE_LIMIT_BYTES" in full.json()["detail"]) == (413, True)
    added(house, subject_id=other)  # another site's share is its own
    with house.database.read() as session:
        assert len(session.exec(select(PhotoPicture)).all()) == 3


def test_an_edited_picture_is_found(house: House) -> None:
    rows = [added(house, photo(image=drawn(64 + step, 48)), subject_id=house.a_system()["id"]) for step in range(3)]
    with house.database.read() as session:
        assert [fault for fault in checking.faults(session) if "photo" in fault] == []
    edited, lost, swapped = (UUID(row["id"]) for row in rows)
    with house.database.write() as session:
        one = session.get_one(PhotoPicture, edited)
        one.jpeg = one.jpeg[:-2] + b"\x00\x00"
        session.delete(session.get_one(PhotoPicture, lost))
        row = session.get_one(Photo, swapped)
        other = session.get_one(PhotoPicture, swapped)
        other.jpeg += b"!"
        row.sha256 = hashlib.sha256(other.jpeg).digest()  # the row was made to agree: the trail does not
    with house.database.read() as session:
        found = [fault for fault in checking.faults(session) if "photo" in fault]
    assert len(found) == 3, found
    assert f"photo {lost} has lost its picture" in found
    assert f"the picture of photo {edited} was edited" in found
    assert any(fault.startswith(f"photo {swapped} was edited") for fault in found)


def test_a_large_picture_takes_no_place_in_lists(house: House, tmp_path: Path) -> None:
    """A list of photos carries what is said of them, never their bytes."""
    row = added(house, subject_id=house.a_system()["id"])
    listed = house.send("GET", "/v1/photos")
    assert listed.json() == [row]
    assert len(listed.content) < 1_500
