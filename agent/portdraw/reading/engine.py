"""What any SNMP engine must do here: one request, one answer, in bounded time.

Retries, walking, short and backward answers are not the engine's: they live once, in `columns`.
"""

from __future__ import annotations

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

    async def get_bulk(self, target: Target, oids: Sequence[Oid], repetitions: int, timeout_s: float) -> Answer:
        """Send GETBULK (GETNEXT where the version has none). Raises ReadError."""
        ...

    async def close(self) -> None:
        """Let go of sockets and timers."""
        ...


def parse_address(text: str, access: str) -> Target:
    """Return the target of "host", "host:port", "[v6]:port" or a bare IPv6 address (port 161 when absent).

    Raises ValueError with one sentence.
    """
    host, port_text = text, ""
    if text.startswith("["):
        host, _, rest = text[1:].partition("]")
        port_text = rest.lstrip(":")
    elif text.count(":") == 1:
        host, _, port_text = text.partition(":")
    if not host or (port_text and not port_text.isdigit()):
        raise ValueError(f"{text!r} is not an address such as 10.20.0.2 or 10.20.0.2:161")
    port = int(port_text) if port_text else 161
    if not 0 < port < 65536:
        raise ValueError(f"{text!r}: the port must be between 1 and 65535")
    return Target(host, port, access)
