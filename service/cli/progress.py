"""What a long command says while it works: one line that changes on a terminal, plain lines elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable

Progress = Callable[[str], None]


def say(text: str) -> None:
    """Tell how far the work is, on standard error: standard output carries results alone."""
    if sys.stderr.isatty():
        print(f"\r\x1b[K{text}", end="", file=sys.stderr, flush=True)
    else:
        print(text, file=sys.stderr, flush=True)


def done(text: str) -> None:
    """The last line of the work."""
    say(text)
    if sys.stderr.isatty():
        print(file=sys.stderr)
