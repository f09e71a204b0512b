"""/v1/photos"""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request, Response

from service.access.rights import Right
from service.errors import Conflict, NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.conditional import IfNoneMatch, is_held, tag_of
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE, Code, Id, Line, Time
from service.resources.keeping.amounts import refused
from service.resources.keeping.record_routes import RecordId, record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.photos.actions import PHOTOS, added, picture
from service.resources.records.photos.models import PhotoRead, PhotoTaken, body
from service.resources.records.photos.pictures import FORMATS, MEDIA_TYPE, picture_of, thumbnail_of

BINARY = {"schema": {"type": "string", "format": "binary"}}
SHOWN: dict[int | str, dict[str, Any]] = {
    200: {"description": "The picture", "content": {MEDIA_TYPE: BINARY}},
    304: {"description": "The one already held"},
    **may_refuse(NotFound, Unacceptable),
}
SANDBOXED = "default-src 'none'; sandbox"  # whatever a browser takes it for, it runs nothing

router = APIRouter()


async def _sent(request: Request, door: DoorOf) -> tuple[bytes, str]:
    """The picture in the body, and its media type: refused by its type, its right and its size before it is read."""
    door.require(Right.RECORD)
    media_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media_type not in FORMATS:
        detail = f"A picture is sent as it is, with its own Content-Type: {', '.join(FORMATS)}."
        raise refused("Content-Type", detail, media_type, place="header")
    limit: int = request.app.state.settings.photo_limit_bytes
    if int(request.headers.get("content-length", "0")) > limit:  # the gate has seen that it is a number
        raise _too_large(limit)
    content = bytearray()
    async for part in request.stream():
        content += part
        if len(content) > limit:
            raise _too_large(limit)
    return bytes(content), media_type


@router.put(
    "/photos/{record_id}",
    response_model=PhotoRead,
    responses={
        201: {"model": PhotoRead, "description": "Recorded now"},
        **may_refuse(Unacceptable, Conflict, NotFound, TooLarge),
    },
    openapi_extra={"requestBody": {"required": True, "content": dict.fromkeys(FORMATS, BINARY)}},
    tags=["photos"],
)
def put_photo(
    record_id: RecordId,
    sent: Annotated[tuple[bytes, str], Depends(_sent)],
    request: Request,
    door: DoorOf,
    response: Response,
    taken_at: Annotated[Time, Query(description="When it was taken, with its offset.")],
    subject_id: Annotated[Id | None, Query(description="What it is of; or name a record.")] = None,
    of_kind: Annotated[
        Code | None, Query(description="The kind of the record it belongs to, such as `maintenance_event`.")
    ] = None,
    of_id: Annotated[Id | None, Query(description="The record it belongs to.")] = None,
    caption: Annotated[Line | None, Query(pattern=PRINTABLE, description="What is to be seen.")] = None,
) -> Any:
    """Record a photo under your own id, or confirm it: the picture is the body, the rest are parameters.

    Kept are its pixels, upright, as JPEG: neither the place nor the device that the camera wrote into it.
    """
    content, media_type = sent
    said = {
        "subject_id": subject_id, "of_kind": of_kind, "of_id": of_id, "taken_at": taken_at, "caption": caption,
        "sent_sha256": hashlib.sha256(content).hexdigest(), "picture": picture_of(content, media_type),
    }  # fmt: skip
    taken = PhotoTaken(**{name: value for name, value in said.items() if value is not None})
    limit: int = request.app.state.settings.photos_of_site_limit_bytes
    with door.write(Right.RECORD) as work:
        row, is_new = added(work, record_id, taken, site_limit=limit)
    response.status_code = 201 if is_new else 200
    response.headers["ETag"] = tag_of(row.version)
    response.headers["Location"] = f"/v1/photos/{row.id}"
    return body(row)


@router.get("/photos/{record_id}/picture", response_class=Response, responses=SHOWN, tags=["photos"])
def read_picture(record_id: RecordId, door: DoorOf, if_none_match: IfNoneMatch = None) -> Response:
    """The picture of a photo. One that was withdrawn is shown to supervisors only."""
    return _shown(record_id, door, if_none_match, small=False)


@router.get("/photos/{record_id}/thumbnail", response_class=Response, responses=SHOWN, tags=["photos"])
def read_thumbnail(record_id: RecordId, door: DoorOf, if_none_match: IfNoneMatch = None) -> Response:
    """The picture of a photo, small: at most 320 pixels a side."""
    return _shown(record_id, door, if_none_match, small=True)


def _shown(photo_id: RecordId, door: DoorOf, if_none_match: str | None, *, small: bool) -> Response:
    with door.read() as work:
        row, jpeg = picture(work, photo_id)
    tag = f'"{row.sha256.hex()[:32]}{"-small" if small else ""}"'
    headers = {
        "ETag": tag,
        "Cache-Control": "private, no-cache",  # ask each time: it may be withdrawn
        "Content-Disposition": f'inline; filename="photo-{row.at:%Y%m%d-%H%M%S}.jpg"',
        "Content-Security-Policy": SANDBOXED,
        "Content-Encoding": "identity",
    }
    if is_held(if_none_match, tag):
        return Response(status_code=304, headers=headers)
    return Response(thumbnail_of(jpeg) if small else jpeg, media_type=MEDIA_TYPE, headers=headers)


def _too_large(limit: int) -> TooLarge:
    return TooLarge(f"A picture may have {limit} bytes. Make it smaller: 1600 pixels a side are plenty.")


router.include_router(record_routes(PHOTOS, site_named=id_named, is_json=False))
