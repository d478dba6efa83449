"""Runs an application on a free loopback port in a thread, for tests that need a real server."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass

import uvicorn
from starlette.applications import Starlette

WITHIN_S = 30.0


@dataclass
class Served:
    """A running server; `stop` ends it before the test does."""

    address: str
    server: uvicorn.Server
    thread: threading.Thread

    def stop(self) -> None:
        """Stop answering."""
        self.server.should_exit = True
        self.thread.join(WITHIN_S)
        assert not self.thread.is_alive()


def free_socket(port: int = 0) -> socket.socket:
    """Return a socket bound to a loopback port, a free one unless it is named."""
    sock = socket.socket()
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    sock.bind(("127.0.0.1", port))
    return sock


@contextlib.contextmanager
def served(app: Starlette, port: int = 0) -> Iterator[Served]:
    """Serve an application; yield where."""
    sock = free_socket(port)
    config = uvicorn.Config(app, log_level="critical", lifespan="off", timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, args=([sock],), daemon=True)
    thread.start()
    patience_s = time.monotonic() + WITHIN_S
    while not server.started and time.monotonic() < patience_s:
        time.sleep(0.02)
    running = Served(f"http://127.0.0.1:{sock.getsockname()[1]}", server, thread)
    try:
        yield running
    finally:
        running.stop()
        sock.close()
