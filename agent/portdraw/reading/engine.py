"""What any SNMP engine must do here: one request, one answer, in bounded time.

Retries, walking, short and backward answers are not the engine's: they live once, in `columns`.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, IntEnum
from typing import Protocol

from portdraw.reading.varbind import Oid, Varbind


class ErrorStatus(IntEnum):
    """error-status of a response that this program treats specially (RFC 3416, section 3)."""

    NO_ERROR = 0
    TOO_BIG = 1
    NO_SUCH_NAME = 2
    GEN_ERR = 5
    NO_ACCESS = 6
    AUTHORIZATION_ERROR = 16


class Failure(Enum):
    """Why a request brought nothing."""

    SILENT = "silent"
    GARBLED = "garbled"
    UNREACHABLE = "unreachable"
    UNKNOWN_USER = "unknown user"
    WRONG_DIGEST = "wrong authentication secret or algorithm"
    WRONG_LEVEL = "unsupported security level"
    WRONG_PRIVACY = "privacy refused"
    TIME_WINDOW = "outside its time window"
    REFUSED = "view refused"

    @property
    def is_credentials(self) -> bool:
        """True where the agent is there and refuses us by name, password, level or view."""
        return self in (
            Failure.UNKNOWN_USER,
            Failure.WRONG_DIGEST,
            Failure.WRONG_LEVEL,
            Failure.WRONG_PRIVACY,
            Failure.REFUSED,
        )


class ReadError(Exception):
    """A request that failed; `str()` is one sentence for people and never holds a secret."""

    def __init__(self, failure: Failure, sentence: str) -> None:
        super().__init__(sentence)
        self.failure = failure


@dataclass(frozen=True, slots=True)
class Target:
    """An agent to read: where it is, and by the name of which access."""

    host: str
    port: int
    access: str

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}:{self.port}"


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back: bindings in the order of the answer, or an error-status with its index."""

    varbinds: tuple[Varbind, ...]
    error_status: int = 0
    error_index: int = 0


class Engine(Protocol):
    """One request, one answer. `timeout_s` is wall time."""

    async def get(self, target: Target, oids: Sequence[Oid], timeout_s: float) -> Answer:
        """Send GET. Raises ReadError."""
        ...

    async def get_bulk(
        self, target: Target, oids: Sequence[Oid], repetitions: int, timeout_s: float, non_repeaters: int = 0
    ) -> Answer:
        """Send GETBULK; the first `non_repeaters` names are asked for once (RFC 3416, 4.2.3). Raises ReadError."""
        ...

    async def close(self) -> None:
        """Let go of sockets and timers."""
        ...


def parse_address(text: str, access: str) -> Target:
    """Return the target of "host", "host:port", "[v6]:port" or a bare IPv6 address (port 161 when absent).

    Raises ValueError with one sentence.
    """
    host, port_text = text, None
    if text.startswith("["):
        host, bracket, rest = text[1:].partition("]")
        if not bracket or (rest and not rest.startswith(":")) or not _is_v6(host):
            raise _not_an_address(text)
        port_text = rest[1:] if rest else None
    elif text.count(":") == 1:
        host, _, port_text = text.partition(":")
    elif ":" in text and not _is_v6(text):
        raise _not_an_address(text)
    if not host or any(char.isspace() or not char.isprintable() or char in "[]" for char in host):
        raise _not_an_address(text)
    if port_text is None:
        return Target(host, 161, access)
    if not (port_text.isascii() and port_text.isdigit()):
        raise _not_an_address(text)
    if len(port_text) > 5 or not 0 < int(port_text) < 65536:
        raise ValueError(f"{text[:200]!r}: the port must be between 1 and 65535")
    return Target(host, int(port_text), access)


def _is_v6(text: str) -> bool:
    try:
        ipaddress.IPv6Address(text)
    except ValueError:
        return False
    return True


def _not_an_address(text: str) -> ValueError:
    return ValueError(f"{text[:200]!r} is not an address such as 10.20.0.2 or 10.20.0.2:161")
