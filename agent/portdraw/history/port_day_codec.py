"""The packed form of a PortDay: a fixed head, the hours, then the value counts. Part of the file format."""

from __future__ import annotations

import struct
from datetime import date

from portdraw.history.hot_reading import BASES, STATES
from portdraw.history.port_day import HOURS, PortDay

_HEAD = struct.Struct("<qIIBB")  # time of peak ms (-1 none), unknown ms, count of values, of states, of bases
_HOURS = struct.Struct(f"<{HOURS}i")
_ITEM = struct.Struct("<BI")


def pack(day: PortDay) -> bytes:
    """Return the body of a port-day row; unit, port and day are columns of their own."""
    peak_ms = -1 if day.peak_s is None else round(day.peak_s * 1000)
    values = sorted(day.ms_at)
    parts = [
        _HEAD.pack(peak_ms, day.ms_unknown, len(values), len(day.ms_in_state), len(day.ms_on_basis)),
        _HOURS.pack(*day.hour_max_dw),
        struct.pack(f"<{len(values)}I", *values),
        struct.pack(f"<{len(values)}I", *(day.ms_at[value_dw] for value_dw in values)),
    ]
    parts += [_ITEM.pack(STATES.index(state), ms) for state, ms in day.ms_in_state.items()]
    parts += [_ITEM.pack(BASES.index(basis), ms) for basis, ms in day.ms_on_basis.items()]
    return b"".join(parts)


def unpack(unit: str, port: str | None, day: date, body: bytes) -> PortDay:
    """Return the PortDay of a packed row. Raises ValueError on a body that is cut short or from elsewhere."""
    try:
        peak_ms, unknown_ms, count, state_count, basis_count = _HEAD.unpack_from(body)
        at = _HEAD.size
        hours = _HOURS.unpack_from(body, at)
        at += _HOURS.size
        counts = struct.unpack_from(f"<{2 * count}I", body, at)
        at += 8 * count
        shares = list(_ITEM.iter_unpack(body[at:]))
        if len(shares) != state_count + basis_count:
            raise ValueError(f"the port-day of {unit} on {day} can't be read: its shares are cut short")
        states, bases = shares[:state_count], shares[state_count:]
        in_state = {state: ms for index, ms in states if (state := STATES[index]) is not None}
        on_basis = {basis: ms for index, ms in bases if (basis := BASES[index]) is not None}
    except (struct.error, IndexError) as error:
        raise ValueError(f"the port-day of {unit} on {day} can't be read: {error}") from None
    return PortDay(
        unit=unit,
        port=port,
        first_day=day,
        last_day=day,
        ms_at=dict(zip(counts[:count], counts[count:], strict=True)),
        ms_unknown=unknown_ms,
        ms_in_state=in_state,
        ms_on_basis=on_basis,
        peak_s=None if peak_ms < 0 else peak_ms / 1000,
        hour_max_dw=hours,
    )
