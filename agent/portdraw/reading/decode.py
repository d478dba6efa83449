"""A raw binding into a value in its unit, by the catalogue's row; scaling happens here and nowhere else."""

from __future__ import annotations

from portdraw.observation.record import Quantity
from portdraw.reading.catalogue import MibObject
from portdraw.reading.varbind import ABSENT, Varbind, oid_text

PORT_CEILING_W = 99.9  # continuous ceiling of any port: IEEE 802.3-2022, Table 145-16
MOST_TEXT = 200


class CannotBeUsedError(Exception):
    """The agent's value is refused; `str()` says why in one sentence."""


def decode(entry: MibObject, varbind: Varbind) -> float | int | str:
    """Return the value of a binding in the unit of its catalogue row. Raises CannotBeUsedError."""
    raw = varbind.value
    if varbind.kind in ABSENT:
        raise CannotBeUsedError(f"the agent sent {varbind.kind} in place of a value")
    if entry.syntax == "text":
        return varbind.as_text()[:MOST_TEXT]
    if entry.syntax == "oid":
        if isinstance(raw, tuple):
            return oid_text(raw)
        raise CannotBeUsedError(f"the agent sent {varbind.kind} where an object identifier stands")
    if entry.syntax == "integer-or-bits2" and isinstance(raw, bytes):
        if len(raw) != 1:
            raise CannotBeUsedError(f"the agent sent {len(raw)} octets where one stands")
        return entry.bits[raw[0] >> 6]
    if not isinstance(raw, int):
        raise CannotBeUsedError(f"the agent sent {varbind.kind} where a number stands")
    number = raw + entry.offset
    if entry.values:
        if number not in entry.values:
            raise CannotBeUsedError(f"the agent sent {raw}, a value that the module does not define")
        return entry.values[number]
    if entry.scale == 1.0:
        return _checked(entry, number)
    return _checked(entry, round(number * entry.scale, 6))


def _checked(entry: MibObject, value: float | int) -> float | int:
    if entry.quantity is Quantity.PORT_DRAW:
        if value < 0:
            raise CannotBeUsedError(f"{value:g} W is refused: this object defines no sign")
        if value > PORT_CEILING_W:
            raise CannotBeUsedError(f"{value:g} W is refused: no port can give more than {PORT_CEILING_W} W")
    if entry.unit == "W" and value < 0:
        raise CannotBeUsedError(f"{value:g} W is refused: this object defines no sign")
    if entry.quantity is Quantity.PORT_CLASS and not 0 <= value <= 8:
        raise CannotBeUsedError(f"class {value} does not exist")
    return value
