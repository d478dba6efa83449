"""An SNMP variable binding in plain Python values, free of any SNMP library."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

Oid = tuple[int, ...]

MOST_ARCS = 128  # RFC 2578, section 3.5
LARGEST_ARC = 2**32 - 1  # RFC 2578, section 3.5


class Kind(StrEnum):
    """The SMIv2 type of a value, or the exception that stands in its place (RFC 3416, section 3)."""

    INTEGER = "INTEGER"
    OCTETS = "OCTET STRING"
    OID = "OBJECT IDENTIFIER"
    IP_ADDRESS = "IpAddress"
    COUNTER32 = "Counter32"
    GAUGE32 = "Gauge32"
    TIMETICKS = "TimeTicks"
    COUNTER64 = "Counter64"
    OPAQUE = "Opaque"
    NULL = "NULL"
    NO_SUCH_OBJECT = "noSuchObject"
    NO_SUCH_INSTANCE = "noSuchInstance"
    END_OF_MIB_VIEW = "endOfMibView"


ABSENT = frozenset({Kind.NULL, Kind.NO_SUCH_OBJECT, Kind.NO_SUCH_INSTANCE, Kind.END_OF_MIB_VIEW})

Value = int | bytes | Oid | None


@dataclass(frozen=True, slots=True)
class Varbind:
    """One name and value; value is None for the exceptions in ABSENT."""

    oid: Oid
    kind: Kind
    value: Value

    def as_text(self) -> str:
        """Return the value for people: octets as UTF-8 with control characters shown as "?"."""
        if isinstance(self.value, bytes):
            text = self.value.decode("utf-8", errors="replace")
            return "".join(char if char.isprintable() else "?" for char in text).strip()
        if isinstance(self.value, tuple):
            return oid_text(self.value)
        return "" if self.value is None else str(self.value)


@lru_cache(maxsize=1024)  # the catalogue's objects, in every poll
def parse_oid(text: str) -> Oid:
    """Return an OID from dotted text, with or without a leading dot. Raises ValueError on anything else.

    Limits by RFC 2578, section 3.5; the first two arcs by X.660: 0 to 2, then 0 to 39 below 0 and 1.
    """
    parts = text.strip().removeprefix(".").split(".")
    if 2 <= len(parts) <= MOST_ARCS and all(part.isascii() and part.isdigit() and len(part) <= 10 for part in parts):
        oid = tuple(int(part) for part in parts)
        if max(oid) <= LARGEST_ARC and oid[0] <= 2 and (oid[0] == 2 or oid[1] < 40):
            return oid
    raise ValueError(f"{text[:200]!r} is not an object identifier such as 1.3.6.1.2.1.105")


def oid_text(oid: Oid) -> str:
    """Return an OID as dotted text."""
    return ".".join(map(str, oid))
