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
    """What a record is about. Port watts are at the PSE output; granted and requested watts, and all that the device
    on a port measures by itself, at the PD input; supply watts are the supply's own; UPS watts at its AC output.

    `PORT_CLASS` and `PORT_CLASS_LLDP` know no class above 4, and their 4 means "4 or above"; `PORT_CLASS_EXTENDED` is
    exact, and a text such as "3+4" for a dual-signature device. Of requested watts the basis is *ceiling*: more the
    device may not draw, how much it draws they don't say.
    """

    PORT_DRAW = "port draw"
    PORT_DRAW_UNCERTAINTY = "uncertainty of the port draw"
    PORT_ENERGY = "port energy"
    PORT_VOLTAGE = "port voltage"
    PORT_CURRENT = "port current"
    PORT_GRANTED = "port granted"
    PORT_REQUESTED = "port requested"
    PORT_STATE = "port state"
    PORT_ADMIN = "port enabled"
    PORT_CLASS = "port class"
    PORT_CLASS_LLDP = "port class by LLDP"
    PORT_CLASS_EXTENDED = "port class by the LLDP extension"
    PORT_PRIORITY = "port priority"
    PORT_DENIED = "power denied count"
    PORT_OVERLOAD = "overload count"
    PORT_SHORT = "short count"
    PORT_MPS_ABSENT = "maintain-signature absent count"
    PORT_PD_SOURCE = "power source of the device on the port"
    PORT_PD_TYPE = "type of the device on the port"
    PORT_PD_PRIORITY = "priority that the device on the port asks for"
    PORT_PD_DRAW = "draw as the device on the port measures it"
    PORT_PD_VOLTAGE = "voltage as the device on the port measures it"
    PORT_PD_CURRENT = "current as the device on the port measures it"
    PORT_NEIGHBOUR = "neighbour name"
    PORT_LINK = "link"
    UNIT_DRAW = "unit draw"
    UNIT_BUDGET = "unit budget"
    UNIT_PSE_STATE = "unit power supply state"
    UNIT_OWN_SOURCE = "power source as the unit says it"
    UNIT_AC_SUPPLY = "local AC as the unit's supply object says it"  # "there" or "lost"
    UNIT_FEED_GRANTED = "granted to the unit on its feed"
    UNIT_FEED_REQUESTED = "requested by the unit on its feed"
    UNIT_SERIAL = "serial number"
    SUPPLY_STATE = "supply state"
    SUPPLY_SERIAL = "supply serial number"
    SUPPLY_DRAW = "supply draw"
    SUPPLY_VOLTAGE_AC = "supply AC voltage"
    SUPPLY_VOLTAGE_DC = "supply DC voltage"
    SUPPLY_CURRENT = "supply current"
    UPS_OUTPUT_SOURCE = "UPS output source"
    UPS_BATTERY_STATE = "UPS battery state"
    UPS_ON_BATTERY = "time on UPS battery"
    UPS_REMAINING = "time left on UPS battery"
    UPS_CHARGE = "UPS charge"
    UPS_OUTPUT = "UPS output"
    UPS_LOAD = "UPS load"
    UPS_INPUT_FAULTS = "UPS input fault count"
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
    """A quantity of a unit (port is None), of one of its ports, by its printed number, or of one of its supplies.

    Either `value` is there, with `unit` and, for watts, `basis`; or `missing` says why it is not.
    `unit` is "W", "V", "A", "J", "%", "s", "count" or "" (a state or a text). `source` names the MIB object.
    `supply` is the name of a supply module where the record is about one; `port` is None then.
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
    supply: str | None = None

    def number(self) -> float | None:
        """Return the value as a number, None where it is missing or a text."""
        if self.value is None or isinstance(self.value, str):
            return None
        return float(self.value)
