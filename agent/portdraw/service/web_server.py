"""Serves the HTTP application on a socket that is bound before anything else starts."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Iterator

import uvicorn
from starlette.applications import Starlette

from portdraw.service.listen_settings import LOOPBACK_NAMES
from portdraw.service.settings import SettingsError

HARD_CUT_AFTER_S = 1.0


def bind(host: str, port: int) -> socket.socket:
    """Return a listening socket. Raises SettingsError with one sentence (port in use, not ours, not loopback).

    It listens from here on: two sockets can be bound to one port side by side, but only one of them can listen.
    """
    if host not in LOOPBACK_NAMES:
        raise SettingsError(
            f"listen: {host} is not this machine's loopback; pages are served without authentication, so only "
            "127.0.0.1 or ::1 is allowed"
        )
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(100)
    except OSError as error:
        sock.close()
        raise SettingsError(
            f"listen: {host}:{port} can't be used: {error.strerror}; another program (or another agent) may have it"
        ) from None
    return sock


class _Server(uvicorn.Server):
    """A server that leaves signals to the agent."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class WebServer:
    """Runs the application in the agent's event loop."""

    def __init__(self, app: Starlette, sock: socket.socket) -> None:
        self._sock = sock
        self._config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            date_header=True,
            timeout_keep_alive=5,
            limit_concurrency=100,
            lifespan="off",
        )
        self._server = _Server(self._config)
        self._task: asyncio.Task[None] | None = None

    @property
    def address(self) -> str:
        """The address to open, such as http://127.0.0.1:8437."""
        host, port = self._sock.getsockname()[:2]
        return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"

    def start(self) -> None:
        """Start serving."""
        self._task = asyncio.create_task(self._server.serve(sockets=[self._sock]), name="web server")

    async def stop(self, within_s: float) -> bool:
        """End within `within_s` wall seconds; False where connections had to be cut."""
        if self._task is None:
            self._sock.close()
            return True
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        # after this the server cuts what is still open; it waits for any number of seconds, whole or not
        self._config.timeout_graceful_shutdown = within_s  # type: ignore[assignment]
        self._server.should_exit = True
        done, _ = await asyncio.wait([self._task], timeout=within_s + HARD_CUT_AFTER_S)
        if not done:
            self._task.cancel()
            await asyncio.wait([self._task], timeout=1)
        self._sock.close()
        return bool(done) and loop.time() - began_s < within_s
