"""Files that pages need beside their text (style sheets, modules, pictures), under addresses that change with them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

STATIC = "/static"
MEDIA_TYPES = {
    ".css": "text/css",
    ".js": "text/javascript",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/json",
}


@dataclass(frozen=True)
class Shelf:
    """A folder of such files, read once. Its name carries a digest of all of them, so that they may refer to each
    other by relative addresses and still be kept for ever by a browser.
    """

    folder: Path

    @cached_property
    def files(self) -> dict[str, bytes]:
        """Every file's content by its name."""
        return {path.name: path.read_bytes() for path in sorted(self.folder.iterdir()) if path.suffix in MEDIA_TYPES}

    @cached_property
    def name(self) -> str:
        """The folder's name and the digest of what lies in it."""
        content = hashlib.sha256()
        for name, held in self.files.items():
            content.update(f"{name} {len(held)} ".encode() + held)
        return f"{self.folder.name}-{content.hexdigest()[:16]}"

    def url(self, name: str) -> str:
        """The address of a file. Raises KeyError when there is none of this name."""
        self.files[name]
        return f"{STATIC}/{self.name}/{name}"

    def text(self, name: str) -> str:
        """The content of a text file."""
        return self.files[name].decode()


PAPER = Shelf(Path(__file__).parent / "paper")
