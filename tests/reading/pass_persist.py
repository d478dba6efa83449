"""Serves a recorded agent (OID|tag|value lines) to snmpd over net-snmp's pass_persist protocol.

Run by snmpd, not imported: `pass_persist.py RECORDING`. See snmpd.conf(5), "pass_persist".
"""

from __future__ import annotations

import bisect
import sys
from pathlib import Path

TYPES = {
    "2": "integer",
    "4": "string",
    "4x": "octet",
    "64": "ipaddress",
    "65": "counter",
    "66": "gauge",
    "67": "timeticks",
    "70": "counter64",
}

Oid = tuple[int, ...]


def read_rows(path: Path) -> dict[Oid, tuple[str, str]]:
    """Return type and value, as the protocol writes them, by OID."""
    rows: dict[Oid, tuple[str, str]] = {}
    for line in path.read_text(encoding="latin-1").splitlines():
        oid, tag, value = line.split("|", 2)
        if tag in ("4", "4x"):
            octets = bytes.fromhex(value) if tag == "4x" else value.encode("latin-1")
            # hexadecimal is exact for every octet; an empty one can only be said as a string
            rows[tuple(map(int, oid.split(".")))] = ("octet", octets.hex(" ")) if octets else ("string", "")
        elif tag == "6":
            rows[tuple(map(int, oid.split(".")))] = ("objectid", f".{value}")
        else:
            rows[tuple(map(int, oid.split(".")))] = (TYPES[tag], value)
    return rows


def main() -> None:
    """Answer until snmpd closes our input."""
    rows = read_rows(Path(sys.argv[1]))
    order = sorted(rows)
    while command := sys.stdin.readline().strip():
        if command == "PING":
            print("PONG", flush=True)
            continue
        asked = tuple(map(int, sys.stdin.readline().strip().lstrip(".").split(".")))
        found: Oid | None = asked
        if command == "getnext":
            place = bisect.bisect_right(order, asked)
            found = order[place] if place < len(order) else None
        if found is None or found not in rows or command not in ("get", "getnext"):
            print("NONE", flush=True)
            continue
        kind, value = rows[found]
        print("." + ".".join(map(str, found)), kind, value, sep="\n", flush=True)


if __name__ == "__main__":
    main()
