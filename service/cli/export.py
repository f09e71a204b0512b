"""`ooid export`"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from service.cli.opening import EVERY_SITE, reading
from service.cli.progress import done, say
from service.cli.refusal import Refusal
from service.resources.places.sites.queries import named
from service.transfer.exports.writing import write_site


def export(
    site: Annotated[str, typer.Option(help="The site's tag or id.")],
    file: Annotated[Path | None, typer.Option(help="Where to write it; left out, TAG.zip in this folder.")] = None,
) -> None:
    """Write everything of a site into one archive of CSV files, which `ooid import` reads again. Prints its name."""
    with reading() as work:
        found = named(work.session, EVERY_SITE, site)
        path = file or Path(f"{found.tag}.zip")
        if path.exists():
            raise Refusal(f"{path} exists. Move it away, or name another file with --file.")
        waiting = path.with_name(f"{path.name}.part")
        try:
            with waiting.open("wb") as archive:
                manifest = write_site(work.session, found, archive, at=work.at, progress=say)
            waiting.rename(path)
        finally:
            waiting.unlink(missing_ok=True)
    done(f"{sum(each['rows'] for each in manifest['files'])} rows in {len(manifest['files'])} files.")
    print(path)
