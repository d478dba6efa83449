"""Every private column of watts, read as a unit: by its index, in its unit, with its traps."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence

import pytest
from tests.reading.map_engine import MapEngine
from tests.reading.polling import run

from portdraw.observation.record import Basis, Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.site import Unit
from portdraw.reading.catalogue import Catalogue, MibObject, standard_catalogue
from portdraw.reading.unit_reader import UnitReader
from portdraw.reading.varbind import Kind, Oid, Value, Varbind

CATALOGUE = standard_catalogue()
OBJECTS = CATALOGUE.objects
IF_INDEX = (1, 3, 6, 1, 2, 1, 2, 2, 1, 1)
GROUP_PORT = [
    name for name, entry in OBJECTS.items() if entry.quantity is Quantity.PORT_DRAW and not entry.companions
]
# the index of ports 1 and 2 in each kind; interfaces are 101 and 102, bridge ports 11 and 12, entities 1001 and 1002
INDEX = {
    "group-port": ((1, 1), (1, 2)),
    "port": ((1,), (2,)),
    "port-from-zero": ((0,), (1,)),
    "if-index": ((101,), (102,)),
    "bridge-port": ((11,), (12,)),
    "entity": ((1001,), (1002,)),
}
# what stands in the row of a kind and belongs to no port: totals, uplinks, a chassis, an index of another length
STRANGERS = {
    "group-port": ((1, 0), (1, 77), (7, 1)),
    "port": ((0,), (77,), (1, 1)),
    "port-from-zero": ((76,), (1, 1)),
    "if-index": ((103,), (0,), (5000,)),
    "bridge-port": ((1,), (13,), (101,)),
    "entity": ((1,), (1003,), (1004,), (101,)),
}


def raw(entry: MibObject, watts: float) -> tuple[Kind, Value]:
    if entry.syntax == "decimal-text":
        return Kind.OCTETS, f"{watts:g}".encode()
    return Kind.INTEGER if entry.syntax == "integer" else Kind.GAUGE32, round(watts / entry.scale)


class Switch:
    """A unit of two PoE ports and an uplink, with all the tables that lead from an index to a port."""

    def __init__(self) -> None:
        self.rows: dict[Oid, Varbind] = {}
        self.put("pethPsePortDetectionStatus", {(1, 1): 3, (1, 2): 3})
        self.put("ifType", {(101,): 6, (102,): 6, (103,): 6})
        self.put("ifName", {(101,): b"e0/1", (102,): b"e0/2", (103,): b"up0"})
        self.put("dot1dBasePortIfIndex", {(11,): 101, (12,): 102, (13,): 103})
        alias = {(1001, 0): 101, (1002, 0): 102, (1003, 0): 103, (1004, 0): 101, (1004, 5): 102}
        self.put("entAliasMappingIdentifier", {index: (*IF_INDEX, number) for index, number in alias.items()})
        self.put_one((1, 3, 6, 1, 2, 1, 1, 3, 0), Kind.TIMETICKS, 360_000)

    def put_one(self, oid: Oid, kind: Kind, value: Value) -> None:
        self.rows[oid] = Varbind(oid, kind, value)

    def put(self, name: str, values: Mapping[Oid, Value]) -> None:
        kinds = {int: Kind.INTEGER, bytes: Kind.OCTETS, tuple: Kind.OID}
        for index, value in values.items():
            self.put_one(OBJECTS[name].arcs + index, kinds[type(value)], value)

    def put_watts(self, entry: MibObject, watts: Mapping[Oid, float]) -> None:
        for index, value in watts.items():
            self.put_one(entry.arcs + index, *raw(entry, value))

    def polls(
        self, slow: Sequence[bool] = (True, False, True), catalogue: Catalogue = CATALOGUE
    ) -> list[UnitObservation]:
        async def work() -> list[UnitObservation]:
            unit = Unit(address="192.0.2.1", access="a")
            reader = UnitReader("unit", unit, MapEngine(self.rows), catalogue, asyncio.get_running_loop().time)
            return [await reader.poll(5, one) for one in slow]

        return run(work)


@pytest.mark.parametrize("name", GROUP_PORT)
def test_a_column_is_read_by_its_index_in_its_unit(name: str) -> None:
    """Two ports and every kind of stranger: in the first poll, a fast one and a slow one."""
    entry = OBJECTS[name]
    switch = Switch()
    one, two = INDEX[entry.index]
    switch.put_watts(entry, {one: 7.0, two: 12.0})
    switch.put_watts(entry, dict.fromkeys(STRANGERS[entry.index], 19.0))
    for observation in switch.polls():
        assert observation.outcome is Outcome.ANSWERED, observation.reason
        assert observation.ports() == ("1", "2")
        assert [observation.number(port, Quantity.PORT_DRAW) for port in ("1", "2")] == [7.0, 12.0]
        record = observation.index["1", Quantity.PORT_DRAW]
        assert (record.unit, record.basis) == ("W", Basis.MEASURED)
        assert record.source == f"{CATALOGUE.module_of[name].module} {name.partition('@')[0]}"


@pytest.mark.parametrize("kind", INDEX)
def test_rows_that_can_not_be_placed_stay_without_a_port_and_that_is_said(kind: str) -> None:
    """No power table and nothing that leads to an interface: no number is made up for kinds that need one."""
    entry = MibObject.model_validate(
        {
            "oid": "1.3.6.1.4.1.32473.9.1",
            "index": kind,
            "quantity": "port draw",
            "syntax": "integer",
            "unit": "W",
            "basis": "measured",
            "source": "this test",
        }
    )
    switch = Switch()
    for name in (
        "pethPsePortDetectionStatus",
        "ifType",
        "ifName",
        "dot1dBasePortIfIndex",
        "entAliasMappingIdentifier",
    ):
        size = len(OBJECTS[name].arcs)
        switch.rows = {oid: row for oid, row in switch.rows.items() if oid[:size] != OBJECTS[name].arcs}
    switch.put_watts(entry, dict.fromkeys(INDEX[kind], 5.0))
    first, fast = switch.polls((True, False), CATALOGUE.with_site_columns({"own": entry}))
    by_itself = kind in ("group-port", "port", "port-from-zero")  # such a number is the port's own
    for observation in (first, fast):
        assert observation.ports() == (("1", "2") if by_itself else ())
        assert ("own: none of its 2 rows can be put to a port" in observation.reason) is not by_itself


def test_volts_and_milliamperes_are_multiplied() -> None:
    """57.42 V and 52.74 mA are 3.03 W: text of a recorded agent, quoted in a public program; product by hand."""
    switch = Switch()
    switch.put("ostPoePortPseVoltageSupplied", {(1,): b"57.42", (2,): b"57.40"})
    switch.put("ostPoePortPseCurrentSupplied", {(1,): b" 52.74"})
    for observation in switch.polls():
        assert observation.number("1", Quantity.PORT_DRAW) == pytest.approx(3.0283, abs=0.0001)
        missing = observation.index["2", Quantity.PORT_DRAW].missing
        assert missing == "the agent lacks the value that goes with it in the same row"


@pytest.mark.parametrize(
    ("value", "exponent", "caliber", "watts", "why"),
    [
        (255, -1, 3, 25.5, ""),
        (-25_500, -3, 3, 25.5, ""),  # RFC 7460: produced watts are negative
        (25, 0, 3, 25.0, ""),
        (25, 0, 4, None, "says that it is not measured"),  # estimated
        (0, 0, 1, None, "says that it is not measured"),  # unavailable: not zero
        (25, 3, 3, None, "no port can give more than 99.9 W"),
        (25, 40, 3, None, "which no watts need"),
    ],
)
def test_energy_objects(value: int, exponent: int, caliber: int, watts: float | None, why: str) -> None:
    """RFC 7460, eoPower: the value times ten to the power of the multiplier, where the caliber is actual(3)."""
    switch = Switch()
    switch.put("eoPower", {(1001,): value, (1,): 90})
    switch.put("eoPowerUnitMultiplier", {(1001,): exponent, (1,): 0})
    switch.put("eoPowerMeasurementCaliber", {(1001,): caliber, (1,): 3})
    for observation in switch.polls():
        record = observation.index["1", Quantity.PORT_DRAW]
        assert record.value == watts
        assert why in (record.missing or "")
        assert observation.number("2", Quantity.PORT_DRAW) is None


def test_a_standard_column_without_a_port_does_not_stand_before_a_private_one() -> None:
    """An agent that tells the watts of its chassis by RFC 7460, and those of its ports in a private column."""
    switch = Switch()
    switch.put("eoPower", {(1,): 90})
    switch.put("eoPowerUnitMultiplier", {(1,): 0})
    switch.put("eoPowerMeasurementCaliber", {(1,): 3})
    switch.put_watts(OBJECTS["etsysPsePortPowerUsage"], {(1, 1): 7.0, (1, 2): 3.0})
    for observation in switch.polls():
        assert [observation.number(port, Quantity.PORT_DRAW) for port in ("1", "2")] == [7.0, 3.0]


REPEATED: dict[Oid, Value] = {(1, 1): 6300, (1, 2): 4500}


@pytest.mark.parametrize(
    ("consumed", "peaks", "basis"),
    [
        (REPEATED, {(1, 1): 0, (1, 2): 0}, Basis.GRANTED),
        (REPEATED, {}, Basis.GRANTED),
        ({(1, 1): 0, (1, 2): 4500}, {(1, 1): 0, (1, 2): 0}, Basis.GRANTED),
        (REPEATED, {(1, 1): 3416, (1, 2): 0}, Basis.MEASURED),
        ({(1, 1): 2462, (1, 2): 4500}, {(1, 1): 0, (1, 2): 0}, Basis.MEASURED),
        ({(1, 1): 0, (1, 2): 0}, {(1, 1): 0, (1, 2): 0}, Basis.MEASURED),  # nothing in use: zero is zero
    ],
)
def test_a_column_that_repeats_the_allocation_is_granted(
    consumed: Mapping[Oid, Value], peaks: Mapping[Oid, Value], basis: Basis
) -> None:
    """Numbers of recorded agents: 6300 and 4500 mW in both columns, peak 0; 2462 of 5500 mW, peak 3416."""
    switch = Switch()
    switch.put("cpeExtPsePortPwrConsumption", consumed)
    switch.put("cpeExtPsePortPwrAllocated", REPEATED)
    switch.put("cpeExtPsePortMaxPwrDrawn", peaks)
    for observation in switch.polls():
        drawn = [observation.number(str(port), Quantity.PORT_DRAW) for port in (1, 2)]
        assert [round(1000 * (watts or 0)) for watts in drawn] == [consumed[1, 1], consumed[1, 2]]
        assert {observation.index[port, Quantity.PORT_DRAW].basis for port in ("1", "2")} == {basis}


def test_the_first_watts_that_are_not_the_allocation_are_measured_from_then_on() -> None:
    """A port that happens to draw all of its allocation at first, on a switch that does measure."""
    switch = Switch()
    switch.put("cpeExtPsePortPwrConsumption", {(1, 1): 6300, (1, 2): 0})
    switch.put("cpeExtPsePortPwrAllocated", REPEATED)
    engine = MapEngine(switch.rows)

    async def work() -> list[UnitObservation]:
        unit = Unit(address="192.0.2.1", access="a")
        reader = UnitReader("unit", unit, engine, CATALOGUE, asyncio.get_running_loop().time)
        found = [await reader.poll(5, True)]
        oid = (*OBJECTS["cpeExtPsePortPwrConsumption"].arcs, 1, 2)
        engine.rows[oid] = Varbind(oid, Kind.GAUGE32, 2462)
        return [*found, await reader.poll(5, True), await reader.poll(5, False)]

    bases = [observation.index["1", Quantity.PORT_DRAW].basis for observation in run(work)]
    assert bases == [Basis.GRANTED, Basis.MEASURED, Basis.MEASURED]


def test_what_no_agent_has_costs_a_few_small_questions_at_the_start_only() -> None:
    """Some forty private columns: one row of each is asked for at the start, none afterwards."""
    switch = Switch()
    switch.put_watts(OBJECTS["extremePethPortMeasuredPower"], {(1, 1): 7.0, (1, 2): 3.0})
    private = [module for module in CATALOGUE.modules if module.enterprise]
    arcs = {entry.arcs for module in private for entry in module.objects.values()}
    engine = MapEngine(switch.rows)

    async def work() -> list[list[tuple[tuple[Oid, ...], int | None]]]:
        unit = Unit(address="192.0.2.1", access="a")
        reader = UnitReader("unit", unit, engine, CATALOGUE, asyncio.get_running_loop().time)
        asked = []
        for slow in (True, True, False):
            engine.asked.clear()
            await reader.poll(5, slow)
            asked.append(list(engine.asked))
        return asked

    first, slow, fast = run(work)
    for oids, repetitions in first:
        if set(oids) <= arcs and repetitions is not None:
            assert repetitions == 1
    assert sum(1 for oids, _ in first if set(oids) & arcs) <= 5
    for polls in (slow, fast):
        assert {oid for oids, _ in polls for oid in oids} & arcs <= {OBJECTS["extremePethPortMeasuredPower"].arcs}


def test_a_port_number_that_two_groups_have_is_placed_nowhere() -> None:
    """A column by port alone on equipment whose groups both begin at 1; where numbers go on, it is placed."""
    switch = Switch()
    switch.put("pethPsePortDetectionStatus", {(2, 2): 3, (2, 3): 3})
    switch.put_watts(OBJECTS["dpPoeIfPower"], {(1,): 4.0, (2,): 5.0, (3,): 6.0})
    for observation in switch.polls():
        drawn = {port: observation.number(port, Quantity.PORT_DRAW) for port in observation.ports()}
        assert drawn == {"1/1": 4.0, "1/2": None, "2/2": None, "2/3": 6.0}
