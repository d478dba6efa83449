"""Which printed port a table row is about, for each way in which agents count ports.

A first, plain form: explicit mapping of the site file, then conventions that the agent's own tables bear out.
Where nothing does, a row stays without a port rather than landing on a wrong one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from portdraw.plan.ports import printed_port
from portdraw.plan.site import Unit
from portdraw.reading.catalogue import IndexKind
from portdraw.reading.varbind import Oid

ETHERNET = 6  # ifType ethernetCsmacd
_LAST_NUMBER = re.compile(r"^(?P<head>.*?[^0-9])?(?P<port>[0-9]{1,9})$")


class PortIdentity:
    """Finds the printed port of a row's index. `power_ports` are the (group, port) pairs of the power table."""

    def __init__(
        self,
        unit: Unit,
        power_ports: Iterable[tuple[int, int]],
        interface_types: Mapping[int, int],
        interface_names: Mapping[int, str],
    ) -> None:
        self._unit = unit
        self._power_ports = tuple(dict.fromkeys(power_ports))
        self._by_interface = self._interfaces(interface_types, interface_names)

    def printed(self, kind: IndexKind, index: Oid) -> str | None:
        """Return the printed number for an index suffix, None where it can't be told."""
        if kind == "group-port" and len(index) == 2:
            return self._number(index[0], index[1])
        if kind == "port" and len(index) == 1:
            return printed_port(self._unit, 1, index[0])
        if kind == "if-index" and len(index) == 1:
            return self._by_interface.get(index[0])
        if kind == "lldp-port" and len(index) == 1:
            return self._by_lldp_port(index[0])
        if kind in ("lldp-remote", "lldp-v2-remote") and len(index) >= 3:
            return self._by_lldp_port(index[1])
        return None

    def _number(self, group: int, port: int) -> str:
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


def _shape(head: str) -> str:
    return re.sub(r"[0-9]+", "#", head)
