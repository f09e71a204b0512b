"""The process that sets pages: a request as JSON on its input, the PDF on its output. It imports only typst.

    python -P child.py SECONDS BYTES        processor time and memory it may take

The request: `root` (the folder that the template may read), `sheet` (its path), `at` (s since 1970), `data` (JSON as
text). It ends with status 1 and the reason on its error output when the template fails.
"""

from __future__ import annotations

import json
import sys


def bounded(seconds: int, memory: int) -> None:
    """Let the system end this process beyond so much processor time and memory (POSIX; elsewhere only the parent does).

    Memory is what is written to: address space merely reserved, as by threads on large machines, costs nothing.
    """
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
        resource.setrlimit(resource.RLIMIT_DATA, (memory, memory))


def main() -> None:
    """Read one request, write one PDF."""
    bounded(int(sys.argv[1]), int(sys.argv[2]))
    request = json.load(sys.stdin.buffer)
    import typst  # here, so that it too lives within the bounds

    try:
        made = typst.compile(
            request["sheet"],
            root=request["root"],
            format="pdf",
            sys_inputs={"data": request["data"]},
            timestamp=request["at"],
        )
    except typst.TypstError as error:
        sys.exit("\n".join([error.message, error.diagnostic, *error.hints, *error.trace]))
    sys.stdout.buffer.write(made)


if __name__ == "__main__":
    main()
