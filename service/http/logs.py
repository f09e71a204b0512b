"""Log lines: one JSON object each, plain tracebacks, never a body, a token or a cookie."""

from __future__ import annotations

import sys

import structlog


def configure() -> None:
    """Send log lines to standard error, where they mix with nothing a command prints."""
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.format_exc_info,
            structlog.processors.JSONRenderer(),
        ],
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
