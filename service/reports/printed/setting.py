"""A template and data become a PDF in a child process, so that nothing a page does can take the service down."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import structlog

from service.errors import Busy, NotPrinted

SHEETS = Path(__file__).parent / "sheets"
CHILD = Path(__file__).parent / "child.py"
LIMIT_SECONDS = 60.0
MEMORY_BYTES = 2 * 1024**3  # 500 pages with a plot each take 1.7 GB, 20 pages 0.1 GB
AT_ONCE = 1
THREADS = 2
WAITS_SECONDS = 10.0
SHOWN_OF_A_FAILURE = 2000

_TURNS = threading.BoundedSemaphore(AT_ONCE)  # several large documents at once must not take the machine's memory
log = structlog.get_logger()


def set_pages(
    sheet: str,
    data: Mapping[str, Any],
    *,
    at: datetime,
    folder: Path = SHEETS,
    limit_seconds: float = LIMIT_SECONDS,
    memory_bytes: int = MEMORY_BYTES,
) -> bytes:
    """A PDF: the template `sheet` of a folder, filled with `data` (plain JSON values), dated `at` (an instant).

    Texts reach the template as strings, never as its language. The template reads files of its folder and nothing
    else. The same data, instant, fonts and version of typst give the same bytes.

    Raises Busy when the time limit is passed or too many are being made, NotPrinted when the template fails or the
    process dies; what it said is logged.
    """
    request = json.dumps(
        {"root": str(folder), "sheet": str(folder / sheet), "at": int(at.timestamp()), "data": json.dumps(data)}
    )
    limits = [str(int(limit_seconds * THREADS) + 1), str(memory_bytes)]
    if not _TURNS.acquire(timeout=WAITS_SECONDS):
        raise Busy("Other pages are being made for printing. Try again in a few seconds.")
    try:
        made = subprocess.run(  # noqa: S603 our own file in our own interpreter; what was typed goes through a pipe
            [sys.executable, "-P", str(CHILD), *limits],
            input=request.encode(),
            capture_output=True,
            timeout=limit_seconds,
            env=_environment(),
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        log.warning("pages_took_too_long", sheet=sheet, seconds=limit_seconds)
        detail = f"These pages took longer than {limit_seconds:g} s to set. Try again when less is going on, or print"
        raise Busy(f"{detail} the web page itself.") from error
    finally:
        _TURNS.release()
    if made.returncode != 0:
        said = made.stderr.decode(errors="replace")[:SHOWN_OF_A_FAILURE]
        log.error("pages_not_made", sheet=sheet, status=made.returncode, said=said)
        raise NotPrinted("These pages could not be made as PDF; the service's log says why. Print the web page itself.")
    return made.stdout


def _environment() -> dict[str, str]:
    """The child's environment: without the service's settings, with few threads: others use the machine too."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("OOID_")}
    return kept | {"RAYON_NUM_THREADS": str(THREADS)}
