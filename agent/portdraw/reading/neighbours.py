"""Neighbours as LLDP tells them, at both of its roots: who hangs on which port, at which management addresses."""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass, replace

from portdraw.reading.catalogue import Catalogue, MibObject
from portdraw.reading.columns import Column
from portdraw.reading.port_identity import PortIdentity
from portdraw.reading.varbind import Oid, Varbind

NAME, CHASSIS = "name of a neighbour", "chassis of a neighbour"
DESCRIPTION, CAPABILITIES = "description of a neighbour", "capabilities of a neighbour"
ADDRESS = "management address of a neighbour"
ROLES = (NAME, CHASSIS, DESCRIPTION, CAPABILITIES, ADDRESS)
# IEEE Std 802.1AB, LldpSystemCapabilitiesMap, bit 0 first
_CAPABILITIES = (
    "other",
    "repeater",
    "bridge",
    "access point",
    "router",
    "telephone",
    "cable modem",
    "station",
)
_IPV4, _IPV6 = 1, 2  # IANA address family numbers
_ROW_ARCS = {"lldp-remote": 3, "lldp-remote-address": 3, "lldp-v2-remote": 4, "lldp-v2-remote-address": 4}

Key = tuple[bool, Oid]  # whether at the newer root, and the row's index


@dataclass(frozen=True)
class Neighbour:
    """Who is heard on a port (None where the port can't be told). Texts are as they came: not to be trusted.

    `capabilities` is None where none were told. `addresses` are numeric, in the order of the table.
    """

    port: str | None
    name: str = ""
    chassis: bytes = b""
    description: str = ""
    capabilities: frozenset[str] | None = None
    addresses: tuple[str, ...] = ()

    @property
    def may_be_unit(self) -> bool:
        """True where it forwards frames, or says nothing of what it does; phones and access points are devices."""
        told = self.capabilities
        return not told or bool(told & {"bridge", "router", "repeater"} and not told & {"telephone", "access point"})


def neighbour_objects(catalogue: Catalogue) -> dict[str, MibObject]:
    """Return the columns that tell of neighbours, by name."""
    return {name: entry for role in ROLES for name, entry in catalogue.roles(role)}


def neighbours_of(
    objects: Mapping[str, MibObject], columns: Mapping[str, Column], identity: PortIdentity | None
) -> list[Neighbour]:
    """Return all neighbours in the order in which their rows came. One that both roots tell of comes once."""
    found: dict[Key, Neighbour] = {}
    for name, entry in objects.items():
        for index, varbind in columns[name].rows.items():
            arcs = _ROW_ARCS[entry.index]
            if len(index) < arcs:
                continue
            row = index[:arcs]
            key = (entry.index.startswith("lldp-v2"), row)
            port = None if identity is None else identity.printed("lldp-remote", row)
            found[key] = _with(found.get(key, Neighbour(port)), entry.role, index[arcs:], varbind)
    whole: list[Neighbour] = []
    for one in found.values():
        twins = [other for other in whole if other.port is not None and _same(one, other)]
        if not twins:
            whole.append(one)
        elif set(one.addresses) - set(twins[0].addresses):
            addresses = tuple(dict.fromkeys((*twins[0].addresses, *one.addresses)))
            whole[whole.index(twins[0])] = replace(twins[0], addresses=addresses)
    return whole


def _same(one: Neighbour, other: Neighbour) -> bool:
    return one.port == other.port and one.name == other.name and (not one.chassis or one.chassis == other.chassis)


def _with(known: Neighbour, role: str, rest: Oid, varbind: Varbind) -> Neighbour:
    value = varbind.value
    if role == NAME:
        return replace(known, name=varbind.as_text())
    if role == DESCRIPTION:
        return replace(known, description=varbind.as_text())
    if role == CHASSIS and isinstance(value, bytes):
        return replace(known, chassis=value)
    if role == CAPABILITIES and isinstance(value, bytes) and value:
        told = {word for bit, word in enumerate(_CAPABILITIES) if value[0] & 0x80 >> bit}
        return replace(known, capabilities=frozenset(told))
    if role == ADDRESS and (address := _address(rest)) is not None and address not in known.addresses:
        return replace(known, addresses=(*known.addresses, address))
    return known


def _address(index: Oid) -> str | None:
    """Return the address that an index ends with: kind, length, octets. None for one that is not an IP address."""
    if len(index) < 2 or any(arc > 255 for arc in index[2:]):
        return None
    kind, size, octets = index[0], index[1], bytes(index[2:])
    if len(octets) != size or (kind, size) not in ((_IPV4, 4), (_IPV6, 16)):
        return None
    address = ipaddress.ip_address(octets)
    useless = address.is_unspecified or address.is_multicast or (address.version == 6 and address.is_link_local)
    return None if useless else str(address)
