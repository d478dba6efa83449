"""Reads what net-snmp's snmpbulkwalk prints with -On -Oe -Oe -Ox -Ot into the same bindings as the engine's."""

from __future__ import annotations

import re
import subprocess

from tests.reading.real_agent import RealAgent, tool_options
from tests.requirements import need_program

from portdraw.reading.access import Access
from portdraw.reading.varbind import Kind, Oid, Value, Varbind, oid_text, parse_oid

KINDS = {
    "INTEGER": Kind.INTEGER,
    "Hex-STRING": Kind.OCTETS,
    "STRING": Kind.OCTETS,
    "OID": Kind.OID,
    "IpAddress": Kind.IP_ADDRESS,
    "Counter32": Kind.COUNTER32,
    "Gauge32": Kind.GAUGE32,
    "Timeticks": Kind.TIMETICKS,
    "Counter64": Kind.COUNTER64,
}
_LINE = re.compile(r"^\.(?P<oid>[0-9.]+) = (?:(?P<kind>[A-Za-z0-9-]+): ?)?(?P<value>.*)$")


def bulk_walk(agent: RealAgent, access: Access, root: Oid) -> list[Varbind]:
    """Return a subtree as the tool walks it."""
    command = [need_program("snmpbulkwalk"), *tool_options(access), "-m", "", "-On", "-Oe", "-Ox", "-Ot", "-r", "2"]
    done = subprocess.run(
        [*command, agent.tool_address, oid_text(root)], capture_output=True, timeout=60, stdin=subprocess.DEVNULL
    )
    assert done.returncode == 0, done.stderr.decode(errors="replace")
    return parse_walk(done.stdout.decode("latin-1"))


def parse_walk(text: str) -> list[Varbind]:
    """Return the bindings of printed lines; a long hexadecimal value goes on over several."""
    entries: list[str] = []
    for line in text.splitlines():
        if line.startswith("."):
            entries.append(line)
        else:
            entries[-1] += line
    return [varbind for entry in entries if (varbind := _binding(entry)) is not None]


def _binding(entry: str) -> Varbind | None:
    match = _LINE.match(entry)
    assert match is not None, entry
    text = match["value"].strip()
    if text.startswith(("No Such", "No more variables")):
        return None
    value: Value
    if match["kind"] is None and text == '""':
        return Varbind(parse_oid(match["oid"]), Kind.OCTETS, b"")
    if match["kind"] is None and text.isdigit():
        return Varbind(parse_oid(match["oid"]), Kind.TIMETICKS, int(text))
    kind = KINDS[match["kind"]]
    if match["kind"] == "Hex-STRING":
        value = bytes.fromhex(text)
    elif kind is Kind.OCTETS:
        value = text.strip('"').encode("latin-1")
    elif kind is Kind.OID:
        value = parse_oid(text)
    elif kind is Kind.IP_ADDRESS:
        value = bytes(int(part) for part in text.split("."))
    else:
        value = int(text)
    return Varbind(parse_oid(match["oid"]), kind, value)
