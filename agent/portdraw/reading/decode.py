"""A raw binding into a value in its unit, by the catalogue's row; scaling happens here and nowhere else."""

from __future__ import annotations

import re

from portdraw.observation.record import Quantity
from portdraw.reading.catalogue import MibObject
from portdraw.reading.varbind import ABSENT, Kind, Varbind, oid_text

PORT_CEILING_W = 99.9  # continuous ceiling of any port: IEEE 802.3-2022, Table 145-16
MOST_TEXT = 200
SENSOR_FULL = 10**9  # RFC 3433, EntitySensorValue: beyond what can be told, with either sign
_SENSOR_UNITS = 9  # RFC 3433, EntitySensorDataScale: units(9), three powers of ten a step
_NUMBER = (Kind.INTEGER, Kind.GAUGE32)
# agents mix up signed and unsigned; a counter, a time or an address in place of watts is refused
_KINDS = {
    "integer": _NUMBER,
    "gauge": _NUMBER,
    "integer-or-bits2": _NUMBER,
    "counter": (*_NUMBER, Kind.COUNTER32, Kind.COUNTER64),
    "timeticks": (*_NUMBER, Kind.TIMETICKS),
}
_DECIMAL = re.compile(r"[+-]?[0-9]{1,7}(\.[0-9]{1,6})?")


class CannotBeUsedError(Exception):
    """The agent's value is refused; `str()` says why in one sentence."""


def decode(entry: MibObject, varbind: Varbind) -> float | int | str:
    """Return the value of a binding in the unit of its catalogue row. Raises CannotBeUsedError."""
    raw = varbind.value
    if varbind.kind in ABSENT:
        raise CannotBeUsedError(f"the agent sent {varbind.kind} in place of a value")
    if entry.syntax == "text":
        if not isinstance(raw, bytes):
            raise CannotBeUsedError(f"the agent sent {varbind.kind} where a text stands")
        return varbind.as_text()[:MOST_TEXT]
    if entry.syntax == "oid":
        if isinstance(raw, tuple):
            return oid_text(raw)
        raise CannotBeUsedError(f"the agent sent {varbind.kind} where an object identifier stands")
    if entry.syntax == "octets":
        if not isinstance(raw, bytes):
            raise CannotBeUsedError(f"the agent sent {varbind.kind} where octets stand")
        return raw.hex()
    if entry.syntax == "decimal-text":
        return _unless_part(entry, round(_decimal(varbind) * entry.scale, 6))
    if entry.syntax == "integer-or-bits2" and isinstance(raw, bytes):
        if len(raw) != 1:
            raise CannotBeUsedError(f"the agent sent {len(raw)} octets where one stands")
        return entry.bits[raw[0] >> 6]
    if not isinstance(raw, int) or varbind.kind not in _KINDS[entry.syntax]:
        raise CannotBeUsedError(f"the agent sent {varbind.kind} where a number stands")
    number = raw + entry.offset
    if entry.allowed is not None and not entry.allowed[0] <= raw <= entry.allowed[1]:
        least, top = (round((end + entry.offset) * entry.scale, 6) for end in entry.allowed)
        told = f"{round(number * entry.scale, 6):g} {entry.unit}".strip()
        raise CannotBeUsedError(
            f"{told} is refused: {entry.quantity} is from {least:g} to {top:g} {entry.unit}".strip()
        )
    if entry.values:
        if number not in entry.values:
            raise CannotBeUsedError(f"the agent sent {raw}, a value that the module does not define")
        return entry.values[number]
    if entry.most is not None and raw >= entry.most:
        most = f"{entry.most * entry.scale:g} {entry.unit}".strip()
        raise CannotBeUsedError(f"{most} is refused: this object can't tell more, so it may be more")
    return _unless_part(entry, number if entry.scale == 1.0 else round(number * entry.scale, 6))


def scaled(entry: MibObject, value: float | int | str, factor: float) -> float:
    """Return a value multiplied by what another object of its row says. Raises CannotBeUsedError."""
    if isinstance(value, str):
        raise CannotBeUsedError("the agent sent a word where a number stands")
    return float(_checked(entry, round(value * factor, 6)))


def sensor_reading(value: int, scale: int, precision: int, oper_status: int) -> float:
    """Return the reading of a sensor in whole units (RFC 3433, section 3.1 and EntitySensorPrecision).

    Raises CannotBeUsedError where the sensor does not work, is beyond its range, or tells no such scale.
    """
    if oper_status != 1:
        raise CannotBeUsedError("the sensor is unavailable" if oper_status == 2 else "the sensor does not work")
    if abs(value) >= SENSOR_FULL:
        raise CannotBeUsedError("the sensor is beyond its range")
    if not 1 <= scale <= 17 or not -8 <= precision <= 9:
        raise CannotBeUsedError("the agent gives a scale or precision that sensors don't have")
    exponent = 3 * (scale - _SENSOR_UNITS) - max(0, precision)
    return value * 10.0**exponent if exponent >= 0 else value / 10.0**-exponent


def _unless_part(entry: MibObject, value: float | int) -> float | int:
    """Check a value, unless another object of its row has still to be multiplied in."""
    return value if entry.companions else _checked(entry, value)


def raw_number(entry: MibObject, varbind: Varbind | None) -> float:
    """Return the plain number of a row that goes with another one. Raises CannotBeUsedError."""
    value = None if varbind is None else decode(entry, varbind)
    if not isinstance(value, int | float):
        raise CannotBeUsedError("the agent lacks the value that goes with it in the same row")
    return float(value)


def _decimal(varbind: Varbind) -> float:
    text = varbind.as_text() if isinstance(varbind.value, bytes) else ""
    text = text.removesuffix("W").strip()  # some write the unit behind the number
    if not _DECIMAL.fullmatch(text):
        raise CannotBeUsedError("the agent sent no decimal number in its text")
    return float(text)


def _checked(entry: MibObject, value: float | int) -> float | int:
    if entry.sign == "either":
        value = abs(value)
    if entry.quantity is Quantity.PORT_DRAW:
        if value < 0:
            raise CannotBeUsedError(f"{value:g} W is refused: this object defines no sign")
        if value > PORT_CEILING_W:
            raise CannotBeUsedError(f"{value:g} W is refused: no port can give more than {PORT_CEILING_W} W")
    if (entry.unit == "W" or entry.syntax == "counter") and value < 0:
        raise CannotBeUsedError(f"{value:g} {entry.unit} is refused: this object defines no sign")
    if entry.quantity in (Quantity.PORT_CLASS, Quantity.PORT_CLASS_LLDP) and not 0 <= value <= 8:
        raise CannotBeUsedError(f"class {value} does not exist")
    return value
