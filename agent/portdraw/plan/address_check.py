"""Whether each unit has an address of its own."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator

from portdraw.plan.finding import Finding, FindingSeverity
from portdraw.plan.site import Site

SNMP_PORT = 161
"""UDP port of an agent where the address names none. RFC 3417, section 3.2."""


def check_addresses(site: Site) -> Iterator[Finding]:
    """Yield an error for each unit or UPS whose address another one before it has, however it is written."""
    first: dict[tuple[str, str], str] = {}
    read = {name: part.address for parts in (site.units, site.ups) for name, part in parts.items()}
    for name, address in read.items():
        if address is None:
            continue
        place = _host_and_port(address)
        if place in first:
            other = first[place]
            also = "" if read[other] == address else f" (written {read[other]} there)"
            sentence = f"its address {address} is that of {other} too{also}: one would be read as the other."
            yield Finding(FindingSeverity.ERROR, name, sentence)
        first.setdefault(place, name)


def _host_and_port(address: str) -> tuple[str, str]:
    """Return host and port in one way of writing: 10.0.0.1, 10.0.0.1:161; [::1]:161, ::1; names in small letters."""
    host, port = address, ""
    if address.startswith("["):
        host, _, port = address[1:].partition("]")
        port = port.removeprefix(":")
    elif address.count(":") == 1:
        host, _, port = address.partition(":")
    try:
        host = str(ipaddress.ip_address(host))
    except ValueError:
        host = host.lower().rstrip(".")
    return host, port.lstrip("0") or str(SNMP_PORT)
