"""What is packed comes back alike; what was cut short is refused."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portdraw.history.port_day import HOURS, PortDay
from portdraw.history.port_day_codec import pack, unpack
from portdraw.observation.record import Basis, PortState

DAY = date(2026, 3, 29)
DAYS = st.builds(
    PortDay,
    unit=st.just("core"),
    port=st.sampled_from(["2/14", None]),
    first_day=st.just(DAY),
    last_day=st.just(DAY),
    ms_at=st.dictionaries(st.integers(0, 1_000_000), st.integers(0, 90_000_000), max_size=30),
    ms_unknown=st.integers(0, 90_000_000),
    ms_in_state=st.dictionaries(st.sampled_from(PortState), st.integers(0, 90_000_000)),
    ms_on_basis=st.dictionaries(st.sampled_from(Basis), st.integers(0, 90_000_000)),
    peak_s=st.none() | st.integers(0, 4_000_000_000_000).map(lambda ms: ms / 1000),
    hour_max_dw=st.tuples(*[st.integers(-1, 1_000_000)] * HOURS),
)


@given(DAYS)
def test_round_trip(day: PortDay) -> None:
    """Every field survives."""
    assert unpack(day.unit, day.port, DAY, pack(day)) == day


@given(DAYS, st.data())
def test_a_body_that_was_cut_short_is_refused(day: PortDay, data: st.DataObject) -> None:
    """No cut gives a day that looks whole."""
    body = pack(day)
    cut = data.draw(st.integers(0, len(body) - 1))
    with pytest.raises(ValueError, match="can't be read"):
        unpack(day.unit, day.port, DAY, body[:cut])
