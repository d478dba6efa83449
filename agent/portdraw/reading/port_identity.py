"""Which printed port a table row is about, for each way in which agents count ports.

Explicit mapping of the site file, then what the agent's own tables say or bear out.
Where nothing does, a row stays without a port rather than landing on a wrong one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from portdraw.plan.ports import printed_port
from portdraw.plan.site import Unit
from portdraw.reading.catalogue import IndexKind
from portdraw.reading.varbind import Oid, Varbind

IF_INDEX = (1, 3, 6, 1, 2, 1, 2, 2, 1, 1)  # RFC 2863
ETHERNET = 6  # ifType ethernetCsmacd
REMOTE_KINDS = frozenset({"lldp-remote", "lldp-v2-remote", "lldp-remote-tlv", "lldp-v2-remote-tlv"})
_LAST_NUMBER = re.compile(r"^(?P<head>.*?[^0-9])?(?P<port>[0-9]{1,9})$")


class PortIdentity:
    """Finds the printed port of a row's index. `power_ports` are the (group, port) pairs of the power table.

    `bridge_ports` and `entities` lead from a bridge port (BRIDGE-MIB) and a physical entity (ENTITY-MIB) to the
    number of the interface.
    """

    def __init__(
        self,
        unit: Unit,
        power_ports: Iterable[tuple[int, int]],
        interface_types: Mapping[int, int],
        interface_names: Mapping[int, str],
        bridge_ports: Mapping[int, int] | None = None,
        entities: Mapping[int, int] | None = None,
    ) -> None:
        self._unit = unit
        self._power_ports = tuple(dict.fromkeys(power_ports))
        self._numbers: dict[tuple[int, int], str] = {}  # found so far: each is asked for with every row of every poll
        self._bridge_ports = bridge_ports or {}
        self._entities = entities or {}
        self._by_interface = self._interfaces(interface_types, interface_names)

    def has(self, power_ports: Iterable[tuple[int, int]]) -> bool:
        """Say whether these are the ports of the power table that this rests on, no more and no fewer."""
        return set(power_ports) == set(self._power_ports)

    def printed(self, kind: IndexKind, index: Oid) -> str | None:
        """Return the printed number for an index suffix, None where it can't be told."""
        if kind == "group-port" and len(index) == 2:
            return self._by_pair(index[0], index[1])
        if len(index) == 1:
            number = index[0]
            match kind:
                case "port":
                    return self._by_port_alone(number)
                case "port-from-zero":
                    return self._by_port_alone(number + 1)
                case "if-index":
                    return self._by_interface.get(number)
                case "bridge-port":
                    return self._by_interface.get(self._bridge_ports.get(number, -1))
                case "entity":
                    return self._by_interface.get(self._entities.get(number, -1))
        if kind == "lldp-port" and len(index) == 1:
            return self._by_lldp_port(index[0])
        if kind in REMOTE_KINDS and len(index) >= 3:
            return self._by_lldp_port(index[1])
        return None

    def _by_pair(self, group: int, port: int) -> str | None:
        # a port numbered 0 that the power table does not have is a row for a sum
        return None if port == 0 and (group, port) not in self._power_ports else self._number(group, port)

    def _by_port_alone(self, port: int) -> str | None:
        if self._power_ports:  # the one port of that number, whatever its group
            pairs = [pair for pair in self._power_ports if pair[1] == port]
            return self._number(*pairs[0]) if len(pairs) == 1 else None
        return printed_port(self._unit, 1, port) if port else None

    def _number(self, group: int, port: int) -> str:
        number = self._numbers.get((group, port))
        if number is None:
            number = self._numbers[group, port] = self._find_number(group, port)
        return number

    def _find_number(self, group: int, port: int) -> str:
        if not self._unit.ports and len({group for group, _ in self._power_ports}) > 1:
            return f"{group}/{port}"  # several groups and nothing declared: every port is told with its group
        return printed_port(self._unit, group, port)

    def _by_lldp_port(self, number: int) -> str | None:
        # lldpLocPortNum has no required relation to ifIndex: on a bridge it is the bridge port, else ifIndex
        if number in self._by_interface:
            return self._by_interface[number]
        if (1, number) in self._power_ports and len({group for group, _ in self._power_ports}) == 1:
            return printed_port(self._unit, 1, number)
        return None

    def _interfaces(self, types: Mapping[int, int], names: Mapping[int, str]) -> dict[int, str]:
        ethernet = [number for number in names if types.get(number, ETHERNET) == ETHERNET]
        groups = {group for group, _ in self._power_ports}
        if self._power_ports and len(groups) == 1:
            group = next(iter(groups))
            if all(types.get(port) == ETHERNET for _, port in self._power_ports):
                return {port: self._number(group, port) for _, port in self._power_ports}
        by_name = self._by_names({number: names[number] for number in ethernet})
        members = {member for member, _ in by_name.values()}
        known = set(self._power_ports)
        found: dict[int, str] = {}
        for number, (member, port) in by_name.items():
            if not known:
                pair = (member if len(members) > 1 else 1, port)
            elif (member, port) in known:
                pair = (member, port)
            elif len(groups) == 1 and len(members) == 1:
                pair = (next(iter(groups)), port)
            else:
                continue
            if not known or pair in known:
                found[number] = self._number(*pair)
        return found if len(set(found.values())) == len(found) else {}

    def _by_names(self, names: Mapping[int, str]) -> dict[int, tuple[int, int]]:
        """Return (member, port) from names such as "x1/0/7"; counted from one where the names count from zero."""
        parsed: dict[int, tuple[str, int]] = {}
        for number, name in names.items():
            if match := _LAST_NUMBER.match(name):
                parsed[number] = (match["head"] or "", int(match["port"]))
        heads: dict[str, list[int]] = {}
        for head, port in parsed.values():
            heads.setdefault(head, []).append(port)
        if not heads:
            return {}
        # the physical ports are the largest family of names that differ in the last number only, per stack member
        most = max(len(ports) for ports in heads.values())
        shapes = {_shape(head) for head, ports in heads.items() if len(ports) == most}
        families = [head for head, ports in heads.items() if len(ports) * 2 >= most and _shape(head) in shapes]
        chosen: dict[str, int] = {}  # the first number in the name is the member; uplinks of a member come second
        for head in sorted(families, key=lambda family: -len(heads[family])):
            member = int((re.findall(r"[0-9]+", head) or ["1"])[0])
            rivals = [other for other, taken in chosen.items() if taken == member]
            if any(len(heads[other]) == len(heads[head]) for other in rivals):
                return {}  # two equal families in one member: nothing says which is meant
            if not rivals:
                chosen[head] = member
        return {
            number: (chosen[head], port + (1 if min(heads[head]) == 0 else 0))
            for number, (head, port) in parsed.items()
            if head in chosen
        }


def interfaces(rows: Mapping[Oid, Varbind]) -> dict[int, int]:
    """Return interface numbers by the first number of the index: of a bridge port, or of a physical entity.

    A bridge port tells the number itself (dot1dBasePortIfIndex), an entity the OID of a row of ifTable, ifIndex.17 in
    RFC 6933's own example (entAliasMappingIdentifier). An entity that leads to two interfaces leads to none.
    """
    found: dict[int, int] = {}
    doubtful: set[int] = set()
    for index, varbind in rows.items():
        value = varbind.value
        if isinstance(value, tuple):
            value = value[-1] if value[:-1] == IF_INDEX else None
        if not isinstance(value, int) or not index:
            continue
        if found.setdefault(index[0], value) != value:
            doubtful.add(index[0])
    return {number: interface for number, interface in found.items() if number not in doubtful}


def _shape(head: str) -> str:
    return re.sub(r"[0-9]+", "#", head)
