"""What a switch turned out to tell: each quantity with for how many it is told, in which unit, how sure, from where.

What it does not tell is listed too, with the reason: a blank is said, never left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from portdraw.observation.record import Basis, Quantity, Record
from portdraw.observation.unit_observation import UnitObservation

NO_OBJECT = "the switch has none of the objects that tell it"

OF_UNIT = (
    Quantity.SYSTEM_NAME,
    Quantity.SYSTEM_DESCRIPTION,
    Quantity.SYSTEM_OBJECT_ID,
    Quantity.UNIT_SERIAL,
    Quantity.UPTIME,
    Quantity.UNIT_BUDGET,
    Quantity.UNIT_DRAW,
    Quantity.UNIT_PSE_STATE,
    Quantity.UNIT_OWN_SOURCE,
    Quantity.UNIT_AC_SUPPLY,
    Quantity.UNIT_FEED_REQUESTED,
    Quantity.UNIT_FEED_GRANTED,
)
OF_PORT = tuple(quantity for quantity in Quantity if quantity.name.startswith("PORT_"))
OF_SUPPLY = (
    Quantity.SUPPLY_STATE,
    Quantity.SUPPLY_VOLTAGE_AC,
    Quantity.SUPPLY_VOLTAGE_DC,
    Quantity.SUPPLY_CURRENT,
    Quantity.SUPPLY_DRAW,
    Quantity.SUPPLY_SERIAL,
)
OF_UPS = tuple(quantity for quantity in Quantity if quantity.name.startswith("UPS_"))

_BASIS_WORDS = {
    Basis.MEASURED: "measured",
    Basis.LEARNED: "learned",
    Basis.ESTIMATED: "estimated",
    Basis.GRANTED: "granted, not measured",
    Basis.CEILING: "a ceiling, not measured",
    Basis.PLANNED: "planned",
}
_BY_DEVICE = (
    *(Quantity.PORT_PD_SOURCE, Quantity.PORT_PD_TYPE, Quantity.PORT_PD_PRIORITY, Quantity.PORT_NEIGHBOUR),
    *(Quantity.PORT_CLASS_LLDP, Quantity.PORT_CLASS_EXTENDED),
)
_MEASURED_BY_DEVICE = (Quantity.PORT_PD_DRAW, Quantity.PORT_PD_VOLTAGE, Quantity.PORT_PD_CURRENT)
_UP_TO_CLASS_4 = (Quantity.PORT_CLASS, Quantity.PORT_CLASS_LLDP)


@dataclass(frozen=True)
class Capability:
    """A quantity that the switch has an object for. `told` of `asked` ports (or supplies) have a value."""

    quantity: Quantity
    told: int
    asked: int
    unit: str
    how_sure: str
    sources: tuple[str, ...]


def capabilities(observation: UnitObservation, quantities: Iterable[Quantity], asked: int) -> list[Capability]:
    """Return what is told of `quantities`, in their order, where `asked` ports or supplies could tell each."""
    found = []
    for quantity in quantities:
        records = _records(observation, quantity)
        told = [record for record in records if record.missing is None]
        sources = tuple(dict.fromkeys(record.source for record in told or records if record.source))
        if not records or not sources:
            continue
        unit = (told or records)[0].unit
        sure = how_sure(quantity, told) if told else f"- {_why(records)}"
        found.append(Capability(quantity, len(told), asked, "" if unit == "count" else unit, sure, sources))
    return found


def not_told(observation: UnitObservation, quantities: Iterable[Quantity]) -> dict[Quantity, str]:
    """Return why each of `quantities` that has no value at all has none."""
    found = {}
    for quantity in quantities:
        records = _records(observation, quantity)
        if all(record.missing is not None for record in records):
            found[quantity] = _why(records) if records else NO_OBJECT
    return found


def how_sure(quantity: Quantity, told: Sequence[Record]) -> str:
    """Return how far values of a quantity can be believed, in words."""
    if quantity in _MEASURED_BY_DEVICE:
        return "measured by the device, at the device"
    if quantity is Quantity.UNIT_BUDGET:
        return "as the switch states it"
    bases = list(dict.fromkeys(record.basis for record in told if record.basis is not None))
    if bases:
        said = ", ".join(_BASIS_WORDS[basis] for basis in bases)
        return f"{said}; at the device" if quantity in (Quantity.PORT_GRANTED, Quantity.PORT_REQUESTED) else said
    if told[0].unit in ("V", "A", "J"):
        return "measured"
    if told[0].unit == "count":
        return "counted by the switch"
    said = "as the device says" if quantity in _BY_DEVICE else "as the switch says"
    if quantity in _UP_TO_CLASS_4:
        return f"{said}; 4 means 4 or above"
    return said


def _records(observation: UnitObservation, quantity: Quantity) -> list[Record]:
    return list(_of(observation.records, quantity))


def _of(records: Iterable[Record], quantity: Quantity) -> Iterator[Record]:
    return (record for record in records if record.quantity is quantity)


def _why(records: Sequence[Record]) -> str:
    reasons = dict.fromkeys(record.missing for record in records if record.missing)
    return "; ".join(reasons)
