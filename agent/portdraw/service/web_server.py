"""Serves the HTTP application on a socket that is bound before anything else starts.

Connections are taken in one by one, counted from the first octet on (a handshake too), and swept each second.
"""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import logging
import socket
import ssl
import time
from collections.abc import Iterator

import anyio.to_thread
import uvicorn
from starlette.applications import Starlette

from portdraw.reporting.http.connection import Connection
from portdraw.reporting.http.door import Door, Guest
from portdraw.reporting.http.guard import safe_headers
from portdraw.reporting.http.patience import (
    HANDSHAKE_S,
    KEEP_ALIVE_S,
    MOST_CONNECTIONS,
    MOST_CONNECTIONS_OF_ONE,
    MOST_HEAD_OCTETS,
)
from portdraw.service.listen_settings import LOOPBACK_NAMES
from portdraw.service.settings import SettingsError
from portdraw.service.tls_files import TlsFiles, first_certificate, load_pair, server_context, validity_words

log = logging.getLogger("portdraw.web")
HARD_CUT_AFTER_S = 1.0
SWEEP_EVERY_S = 1.0
LOOK_AT_CERTIFICATE_EVERY_S = 60.0
TELL_OF_CERTIFICATE_EVERY_S = 86_400.0
SHUTDOWN_WITHIN_S = 5.0
THREADS = 4


def bind(host: str, port: int, beyond_loopback: bool = False) -> socket.socket:
    """Return a listening socket. Raises SettingsError with one sentence (port in use, not ours, not loopback).

    It listens from here on: two sockets can be bound to one port side by side, but only one of them can listen.
    """
    if host not in LOOPBACK_NAMES and not (beyond_loopback and _is_address(host)):
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
    sock.setblocking(False)
    return sock


class _Server(uvicorn.Server):
    """A server that leaves signals to the agent, and says when it has started."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.is_up = asyncio.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self.is_up.set()

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class WebServer:
    """Runs the application in the agent's event loop. `tls` raises SettingsError where its files are unfit."""

    def __init__(
        self, app: Starlette, sock: socket.socket, tls: TlsFiles | None = None, behind_proxy: bool = False
    ) -> None:
        self._sock = sock
        self._live_events = getattr(app.state, "live_events", None)
        self._tls = tls
        self._context: ssl.SSLContext | None = None
        self._stamp: tuple[float, ...] = ()
        if tls is not None:
            try:
                self._context = server_context(tls)
            except SettingsError:
                sock.close()
                raise
            self._stamp = tls.stamp
        self._headers = safe_headers(tls=tls is not None)
        # behind a proxy all come from one address
        self._door = Door(MOST_CONNECTIONS, MOST_CONNECTIONS if behind_proxy else MOST_CONNECTIONS_OF_ONE)
        self._config = uvicorn.Config(
            app,
            http=Connection,
            ws="none",
            log_level="error",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            date_header=True,
            timeout_keep_alive=KEEP_ALIVE_S,
            h11_max_incomplete_event_size=MOST_HEAD_OCTETS,
            lifespan="off",
        )
        self._server = _Server(self._config)
        self._tasks: list[asyncio.Task[None]] = []
        self._greetings: set[asyncio.Task[None]] = set()

    @property
    def address(self) -> str:
        """The address to open, such as http://127.0.0.1:8437."""
        host, port = self._sock.getsockname()[:2]
        host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104 - compared, not bound
        return f"{'http' if self._tls is None else 'https'}://{f'[{host}]' if ':' in host else host}:{port}"

    @property
    def open_connections(self) -> int:
        """How many connections are open."""
        return len(self._door)

    def start(self) -> None:
        """Start serving."""
        self._tasks = [
            # without a socket: connections are taken in below
            asyncio.create_task(self._server.serve(sockets=[]), name="web server"),
            asyncio.create_task(self._take_in(), name="web door"),
            asyncio.create_task(self._sweep(), name="web sweep"),
        ]

    async def stop(self, within_s: float) -> bool:
        """End within `within_s` wall seconds; False where connections had to be cut."""
        if not self._tasks:
            self._sock.close()
            return True
        loop = asyncio.get_running_loop()
        began_s = loop.time()
        serving, *helpers = self._tasks
        for task in (*helpers, *self._greetings):
            task.cancel()
        if self._live_events is not None:
            self._live_events.close()
        # after this the server cuts what is still open; it waits for any number of seconds, whole or not
        self._config.timeout_graceful_shutdown = within_s  # type: ignore[assignment]
        self._server.should_exit = True
        done, _ = await asyncio.wait([serving], timeout=within_s + HARD_CUT_AFTER_S)
        if not done:
            serving.cancel()
        await asyncio.wait(self._tasks, timeout=1)
        self._sock.close()
        return bool(done) and loop.time() - began_s < within_s

    async def _take_in(self) -> None:
        loop = asyncio.get_running_loop()
        # pages and metrics are made in threads: few, so that they leave the loop its share of the processor
        anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
        await self._server.is_up.wait()
        while True:
            try:
                sock, address = await loop.sock_accept(self._sock)
            except OSError as error:  # no file descriptor left, say: those who are in go on
                log.error("a connection could not be taken in: %s", error.strerror)
                await asyncio.sleep(0.5)
                continue
            guest = self._door.admit(str(address[0]), loop.time())
            if guest is None:
                sock.close()
                continue
            greeting = asyncio.create_task(self._greet(sock, guest), name="web greeting")
            self._greetings.add(greeting)
            greeting.add_done_callback(self._greetings.discard)
            guest.cut = greeting.cancel  # type: ignore[assignment]

    async def _greet(self, sock: socket.socket, guest: Guest) -> None:
        """Make a connection of a socket, with TLS where it is on; one that does not get there is let go."""

        def make() -> Connection:
            state = self._server.server_state
            return Connection(self._config, state, self._headers, gone=lambda: self._door.leave(guest))

        try:
            _, connection = await asyncio.get_running_loop().connect_accepted_socket(
                make,
                sock,
                ssl=self._context,
                ssl_handshake_timeout=None if self._context is None else HANDSHAKE_S,
                ssl_shutdown_timeout=None if self._context is None else SHUTDOWN_WITHIN_S,
            )
        except (OSError, ssl.SSLError, TimeoutError, asyncio.CancelledError) as error:
            self._door.leave(guest)
            sock.close()
            if isinstance(error, asyncio.CancelledError):
                raise
            log.debug("no TLS with %s: %s", guest.address, error)
            return
        guest.look, guest.cut = connection.moment, connection.cut

    async def _sweep(self) -> None:
        """Each second cut what takes too long; each minute look whether the certificate was replaced."""
        loop = asyncio.get_running_loop()
        look_s = tell_s = loop.time()
        while True:
            now_s = loop.time()
            for reason in self._door.sweep(now_s):
                log.debug("a connection was cut: %s", reason)
            if self._tls is not None and now_s >= look_s:
                look_s = now_s + LOOK_AT_CERTIFICATE_EVERY_S
                if self.renew() or now_s >= tell_s:
                    tell_s = now_s + TELL_OF_CERTIFICATE_EVERY_S
                    self._tell_of_certificate()
            await asyncio.sleep(SWEEP_EVERY_S)

    def renew(self) -> bool:
        """Load certificate and key anew where their files have changed; say whether they have, and are fit."""
        assert self._tls is not None
        assert self._context is not None
        stamp = self._tls.stamp
        if stamp in (self._stamp, ()):
            return False
        self._stamp = stamp
        try:
            load_pair(self._context, self._tls)
        except SettingsError as error:
            log.error("%s; the certificate of before is shown on", error)
            return False
        log.info("the certificate was replaced: the new one is shown from now on")
        return True

    def _tell_of_certificate(self) -> None:
        assert self._tls is not None
        try:
            words = validity_words(first_certificate(self._tls), time.time())
        except SettingsError:
            return  # told when it was to be loaded
        if words:
            log.warning("the certificate in %s %s", self._tls.certificate, words)


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True
