"""Reads a recorded agent: one binding a line, OID|tag|value (4x is an octet string in hexadecimal)."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from portdraw.reading.varbind import Kind, Oid, Value, Varbind, parse_oid

KINDS = {
    "2": Kind.INTEGER,
    "4": Kind.OCTETS,
    "4x": Kind.OCTETS,
    "6": Kind.OID,
    "64": Kind.IP_ADDRESS,
    "65": Kind.COUNTER32,
    "66": Kind.GAUGE32,
    "67": Kind.TIMETICKS,
    "70": Kind.COUNTER64,
}


def recorded(path: Path) -> list[Varbind]:
    """Return the bindings in the order of the file."""
    return [_binding(line) for line in path.read_text(encoding="latin-1").splitlines()]


@cache
def recorded_rows(path: Path) -> dict[Oid, Varbind]:
    """Return the bindings by OID; not to be changed."""
    return {varbind.oid: varbind for varbind in recorded(path)}


def _binding(line: str) -> Varbind:
    oid, tag, text = line.split("|", 2)
    kind = KINDS[tag]
    value: Value
    if tag == "4x":
        value = bytes.fromhex(text)
    elif kind is Kind.OCTETS:
        value = text.encode("latin-1")
    elif kind is Kind.OID:
        value = parse_oid(text)
    elif kind is Kind.IP_ADDRESS:
        value = bytes(int(part) for part in text.split("."))
    else:
        value = int(text)
    return Varbind(parse_oid(oid), kind, value)
