"""The service worker's text: the module `sw.js`, told which files make up this version of the form."""

from __future__ import annotations

import json
from functools import cache

from service import __version__
from service.reports.shelf import PAPER
from service.web.phone.pages import MODULES

WORKER = "sw.js"
NOT_KEPT = (WORKER, ".png")  # a phone fetches its picture once, when the form is put among its programs


@cache
def worker() -> str:
    """The script, its first line naming the files to keep and, by their digests, the version."""
    files = [MODULES.url(name) for name in MODULES.files if not name.endswith(NOT_KEPT)] + [
        PAPER.url(name) for name in PAPER.files
    ]
    told = {"name": f"{__version__} {MODULES.name} {PAPER.name}", "files": files}
    return f"const SHELL = {json.dumps(told)};\n{MODULES.text(WORKER)}"
