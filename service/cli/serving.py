"""Listening: the socket is bound before anything is promised, so that a printed address is one that answers."""

from __future__ import annotations

import ipaddress
import socket
import sys
from contextlib import suppress

import uvicorn
from fastapi import FastAPI

from service.cli.refusal import Refusal
from service.settings import LOOPBACK, Settings

SECONDS_TO_FINISH = 10


def require_safe(settings: Settings, *, behind_proxy: bool) -> None:
    """Raise Refusal for an address beyond this machine without TLS in front, unless that risk was stated."""
    if behind_proxy or settings.insecure or is_loopback(settings.host):
        return
    raise Refusal(
        f"Listening on {settings.host} without TLS would send tokens and records in the clear. Put a proxy that speaks "
        "TLS in front and name it with --tls-proxy ADDRESS, listen on 127.0.0.1, or accept the risk with --insecure."
    )


def is_loopback(host: str) -> bool:
    """Whether an address can be reached from this machine only."""
    if host in LOOPBACK:
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def listening(host: str, port: int) -> socket.socket:
    """A socket that listens there; port 0 takes any free one. Raises Refusal when it cannot."""
    try:
        family, kind, protocol, _name, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
    except socket.gaierror as error:
        raise Refusal(f"There is no address '{host}' here: {error.strerror}.") from error
    listener = socket.socket(family, kind, protocol)
    if sys.platform != "win32":  # there it would let two services share a port
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind(address)
        listener.listen(512)
    except OSError as error:
        listener.close()
        raise Refusal(
            f"Port {port} on {host} cannot be used ({error.strerror}). Choose another with --port."
        ) from error
    return listener


def address_of(listener: socket.socket) -> str:
    """The address to open in a browser."""
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def serve(app: FastAPI, listener: socket.socket, *, trusted_proxy: str | None = None) -> None:
    """Serve until the process is told to end; requests under way are finished first."""
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=trusted_proxy is not None,
        forwarded_allow_ips=trusted_proxy,
        timeout_graceful_shutdown=SECONDS_TO_FINISH,
    )
    with suppress(KeyboardInterrupt):  # how people end it; the server has finished by then
        uvicorn.Server(config).run(sockets=[listener])
