"""The flat map behind an agent: order, holes, one evaluation per moment, refusal."""

from __future__ import annotations

import pytest
from pysnmp.proto import rfc1905
from pysnmp.smi import error

from portdraw.rehearsal.mib_map import MibMap, Row, Told


def test_next_skips_instances_that_do_not_exist_and_ends() -> None:
    rows = [
        Row((1, 3, 10), "integer", lambda: 10),
        Row((1, 3, 9), "integer", lambda: None),
        Row((1, 3, 2), "integer", lambda: 2),
    ]
    mib = MibMap(rows, lambda: 0)
    assert mib.oids == [(1, 3, 2), (1, 3, 9), (1, 3, 10)]
    name, value = mib.read_next_variables(((1, 3, 2), None))[0]
    assert (tuple(name), int(value)) == ((1, 3, 10), 10)
    assert mib.read_next_variables(((1, 3, 10), None))[0][1] is rfc1905.endOfMibView
    assert mib.read_variables(((1, 3, 9), None))[0][1] is rfc1905.noSuchInstance


def test_a_value_is_worked_out_once_per_moment() -> None:
    asked: list[int] = []
    moment = [0]

    def tell() -> Told:
        asked.append(moment[0])
        return len(asked)

    mib = MibMap([Row((1, 3, 1), "gauge", tell)], lambda: moment[0])
    for _ in range(3):
        assert int(mib.read_variables(((1, 3, 1), None))[0][1]) == 1
    moment[0] = 1
    assert int(mib.read_variables(((1, 3, 1), None))[0][1]) == 2
    assert asked == [0, 1]


def test_nothing_can_be_written() -> None:
    mib = MibMap([Row((1, 3, 1), "integer", lambda: 1)], lambda: 0)
    with pytest.raises(error.NotWritableError):
        mib.write_variables(((1, 3, 1), 5))


def test_a_request_with_too_little_security_reads_nothing() -> None:
    mib = MibMap([Row((1, 3, 1), "integer", lambda: 1)], lambda: 0)
    mib.allowed = False
    with pytest.raises(error.AuthorizationError):
        mib.read_variables(((1, 3, 1), None))
    with pytest.raises(error.AuthorizationError):
        mib.read_next_variables(((1, 3), None))


def test_two_rows_cannot_share_an_identifier() -> None:
    with pytest.raises(ValueError, match="same object identifier"):
        MibMap([Row((1, 3, 1), "integer", lambda: 1), Row((1, 3, 1), "integer", lambda: 2)], lambda: 0)
