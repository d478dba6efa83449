"""One value that a switch told, or the reason why it did not."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Basis(StrEnum):
    """What a watt rests on, best first."""

    MEASURED = "measured"
    LEARNED = "learned"
    ESTIMATED = "estimated"
    GRANTED = "granted"
    CEILING = "ceiling"
    PLANNED = "planned"


class Quantity(StrEnum):
    """What a record is about. Port watts are at the PSE output, granted watts at the PD input."""

    PORT_DRAW = "port draw"
    PORT_GRANTED = "port granted"
    PORT_STATE = "port state"
    PORT_ADMIN = "port enabled"
    PORT_CLASS = "port class"
    PORT_PRIORITY = "port priority"
    PORT_DENIED = "power denied count"
    PORT_OVERLOAD = "overload count"
    PORT_SHORT = "short count"
    PORT_MPS_ABSENT = "maintain-signature absent count"
    PORT_PD_SOURCE = "power source of the device on the port"
    PORT_NEIGHBOUR = "neighbour name"
    PORT_LINK = "link"
    UNIT_DRAW = "unit draw"
    UNIT_BUDGET = "unit budget"
    UNIT_PSE_STATE = "unit power supply state"
    UNIT_OWN_SOURCE = "power source as the unit says it"
    UNIT_AC_SUPPLY = "local AC as the unit's supply object says it"  # "there" or "lost"
    UPTIME = "uptime"
    SYSTEM_NAME = "system name"
    SYSTEM_OBJECT_ID = "system object id"
    SYSTEM_DESCRIPTION = "system description"


class PortState(StrEnum):
    """Detection status of a PSE port (RFC 3621, pethPsePortDetectionStatus)."""

    DISABLED = "disabled"
    SEARCHING = "searching"
    DELIVERING = "delivering"
    FAULT = "fault"
    TEST = "test"
    OTHER_FAULT = "other fault"


class PowerSource(StrEnum):
    """Which leg a powered unit says it draws from (LLDP Power via MDI). It says who carries, not who is there."""

    PSE = "PoE feed only"
    LOCAL = "local AC only"
    BOTH = "local AC and PoE feed"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Record:
    """A quantity of a unit (port is None) or of one of its ports, by its printed number.

    Either `value` is there, with `unit` and, for watts, `basis`; or `missing` says why it is not.
    `unit` is "W", "s", "count" or "" (a state or a text). `source` names the MIB object.
    `read_s` is the site clock in seconds since the epoch when the answer arrived.
    """

    port: str | None
    quantity: Quantity
    value: float | int | str | None
    unit: str
    basis: Basis | None
    source: str
    read_s: float
    missing: str | None = None

    def number(self) -> float | None:
        """Return the value as a number, None where it is missing or a text."""
        if self.value is None or isinstance(self.value, str):
            return None
        return float(self.value)
