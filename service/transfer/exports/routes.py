"""/v1/exports"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from typing import IO, Annotated

from fastapi import APIRouter, Query
from fastapi.responses import StreamingResponse

from service.access.rights import Right
from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE
from service.resources.places.sites import queries as sites
from service.transfer.exports.writing import write_site

router = APIRouter(prefix="/exports", tags=["exports"])

BLOCK = 256 * 1024
IN_MEMORY = 8 << 20


@router.get(
    "",
    response_class=StreamingResponse,
    responses={
        200: {
            "description": "The site: a ZIP archive of CSV files",
            "content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}},
        },
        **may_refuse(NotFound, Unacceptable),
    },
)
def export_site(
    door: DoorOf,
    site: Annotated[str, Query(max_length=40, pattern=PRINTABLE, description="The site's tag or id.")],
) -> StreamingResponse:
    """Everything of a site as one archive: CSV a table, a data dictionary, checksums; `ooid import` reads it again."""
    file = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 - closed by whoever reads it to its end
    try:
        with door.read(Right.ADMINISTER) as work:
            found = sites.named(work.session, work.scope, site)
            work.caller.require(Right.ADMINISTER, found.id)
            write_site(work.session, found, file, at=work.at)
            tag = found.tag
    except BaseException:
        file.close()
        raise
    headers = {"Content-Disposition": f'attachment; filename="{tag}.zip"', "Content-Encoding": "identity"}
    return StreamingResponse(_blocks(file), media_type="application/zip", headers=headers)


def _blocks(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        file.seek(0)
        while block := file.read(BLOCK):
            yield block
