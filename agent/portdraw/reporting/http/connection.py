"""One HTTP/1.1 connection: what it is at, and an answer of ours to what is no HTTP."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Mapping
from typing import Any

import h11
from uvicorn.config import Config
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.server import ServerState

from portdraw.reporting.http.patience import Moment, Phase

log = logging.getLogger("portdraw.http")
NO_HTTP = "This is no HTTP request that this agent can read.\n"


class Connection(H11Protocol):
    """A connection; `gone` is called when it has ended. The name in a client's verified certificate goes along."""

    def __init__(
        self, config: Config, server_state: ServerState, headers: Mapping[str, str], gone: Callable[[], None]
    ) -> None:
        super().__init__(config, server_state, {})
        self._safe_headers = [(name.encode(), value.encode()) for name, value in headers.items()]
        self._gone = gone
        self._requests = 0
        self._last_cycle: object = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin."""
        super().connection_made(transport)
        certificate = transport.get_extra_info("peercert")
        self.app_state = {"certificate": common_name(certificate) if certificate else None}

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        self._gone()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came; nothing that a client sends may end in more than the end of its connection."""
        try:
            super().data_received(data)
        except Exception as error:
            log.info("a connection was cut: %s while reading a request", type(error).__name__)
            self.transport.abort()

    def send_400_response(self, msg: str) -> None:
        """Answer what can't be read, with the headers of every answer."""
        if self.conn.our_state not in (h11.IDLE, h11.SEND_RESPONSE):
            self.transport.abort()  # an answer is under way: there is no place for another
            return
        headers = [
            *self.server_state.default_headers,
            *self._safe_headers,
            (b"content-type", b"text/plain; charset=utf-8"),
            (b"connection", b"close"),
        ]
        response = h11.Response(status_code=400, headers=headers, reason=b"Bad Request")
        for event in (response, h11.Data(data=NO_HTTP.encode()), h11.EndOfMessage()):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    def cut(self) -> None:
        """End at once."""
        if self.transport is not None:
            self.transport.abort()

    def moment(self) -> Moment:
        """Return what the connection is at."""
        if self.cycle is not self._last_cycle:
            self._last_cycle = self.cycle
            self._requests += 1
        unsent = 0 if self.transport is None else self.transport.get_write_buffer_size()
        return Moment(self._phase(unsent), self._requests, unsent)

    def _phase(self, unsent_octets: int) -> Phase:
        if self.cycle is None:
            return Phase.ANSWERING if unsent_octets else Phase.WAITING
        if self.cycle.response_complete:
            if unsent_octets:
                return Phase.ANSWERING
            return Phase.BODY if self.conn.their_state is h11.SEND_BODY else Phase.WAITING
        if asks_for_stream(self.cycle.scope["headers"]):
            return Phase.STREAMING
        if self.cycle.more_body and not self.cycle.response_started:
            return Phase.BODY
        return Phase.ANSWERING


def asks_for_stream(headers: Any) -> bool:
    """Say whether a request is for server-sent events, as a browser's EventSource says it (HTML, section 9.2)."""
    return any(name == b"accept" and b"text/event-stream" in value for name, value in headers)


def common_name(certificate: Mapping[str, Any]) -> str:
    """Return the common name of a verified certificate as Python's ssl gives it, else what its subject holds."""
    names = [pair for part in certificate.get("subject", ()) for pair in part]
    found = next((value for name, value in names if name == "commonName"), None)
    return str(found or "a certificate without a name")
