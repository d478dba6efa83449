"""Port numbers: as printed on the switch, as sorted for people, and as its MIB counts them.

A port is named by its printed number, "3", or member and port, "2/14". A MIB counts (group, port); where that
does not follow from the printed number the site file says it (`snmp: "1.7"`).
"""

from __future__ import annotations

from functools import lru_cache

from portdraw.plan.site import Port, Unit


@lru_cache(maxsize=4096)  # every port is sorted in every cycle
def sort_key(port_key: str) -> tuple[int, ...]:
    """Return a key that sorts printed numbers as people count: 2 before 10, 1/48 before 2/1."""
    numbers = tuple(int(part) for part in port_key.split("/") if part.isdecimal())
    return (len(numbers), *numbers)


def snmp_index(port_key: str, port: Port | None = None) -> tuple[int, int]:
    """Return (group, port) of RFC 3621 (pethPsePortGroupIndex, pethPsePortIndex) for a printed number.

    Without an explicit `snmp` the group is the first part of the number, 1 where there is only one part:
    3 gives (1, 3), 2/14 gives (2, 14), 1/0/3 gives (1, 3). RFC 3621 has group 1 on equipment in one piece.
    """
    if port is not None and port.snmp is not None:
        group, _, number = port.snmp.partition(".")
        return int(group), int(number)
    parts = [int(part) for part in port_key.split("/")]
    return (parts[0] if len(parts) > 1 else 1), parts[-1]


def printed_port(unit: Unit, group: int, port: int) -> str:
    """Return the printed number of a port that the MIB counts as (group, port): the inverse of `snmp_index`.

    A port that the site file does not list gets the number that its neighbours' way of counting gives. Where
    another port has that number (an explicit `snmp` says so), the MIB's own "group.port" is returned.
    """
    for key, declared in unit.ports.items():
        if snmp_index(key, declared) == (group, port):
            return key
    by_member = any("/" in key for key in unit.ports)
    guess = f"{group}/{port}" if by_member or group != 1 else str(port)
    return f"{group}.{port}" if guess in unit.ports else guess
