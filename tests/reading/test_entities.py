"""Supplies, serial numbers and sensors of physical entities: what belongs to a port or a supply, what does not."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path

import pytest
from tests.reading.map_engine import MapEngine
from tests.reading.polling import opened, poll, reader, run
from tests.reading.real_agent import COMMUNITY, real_agent
from tests.reading.recording import recorded_rows
from tests.reading.switch import OBJECTS, Switch, told
from tests.requirements import need_recordings

from portdraw.observation.record import Basis, Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.reading.access import Community
from portdraw.reading.decode import CannotBeUsedError, sensor_reading
from portdraw.reading.engine import Answer
from portdraw.reading.varbind import Oid

# IANA-ENTITY-MIB: chassis 3, container 5, powerSupply 6, sensor 8, module 9, port 10
_OF_CLASS = {3: [1], 6: [11, 12], 8: [21, 22, 23, 31, 2001, 2002], 10: [1001, 1002]}
_IN = {0: [1], 1: [11, 12, 31, 1001, 1002], 11: [21, 22], 12: [23], 1001: [2001], 1002: [2002]}
CLASSES: dict[Oid, int] = {(entity,): kind for kind, entities in _OF_CLASS.items() for entity in entities}
PARENTS: dict[Oid, int] = {(entity,): parent for parent, entities in _IN.items() for entity in entities}
VOLTS_AC, AMPERES, WATTS, CELSIUS = 3, 5, 6, 8
UNITS, MILLI = 9, 8
IF_INDEX: Oid = (1, 3, 6, 1, 2, 1, 2, 2, 1, 1)  # RFC 6933's example: entAliasMappingIdentifier 3.22 is ifIndex.17


@pytest.mark.parametrize(
    ("value", "scale", "precision", "reading"),
    [
        (253, UNITS, 1, 25.3),  # RFC 3433, EntitySensorPrecision: 0..1000 is 0.0..100.0
        (1000, UNITS, 1, 100.0),
        (25_500, MILLI, 0, 25.5),
        (2550, UNITS, 2, 25.5),
        (6015, MILLI, 4, 0.0006015),  # a recorded agent's transceiver, whose display says mW
        (3, 10, 0, 3000.0),
        (-5, UNITS, -3, -5.0),
    ],
)
def test_scale_and_precision(value: int, scale: int, precision: int, reading: float) -> None:
    assert sensor_reading(value, scale, precision, 1) == pytest.approx(reading, abs=1e-12)


@pytest.mark.parametrize(
    ("value", "scale", "precision", "works", "sentence"),
    [
        (10**9, UNITS, 0, 1, "the sensor is beyond its range"),  # RFC 3433: overflow
        (-(10**9), UNITS, 0, 1, "the sensor is beyond its range"),
        (230, UNITS, 0, 2, "the sensor is unavailable"),
        (230, UNITS, 0, 3, "the sensor does not work"),
        (230, 0, 0, 1, "the agent gives a scale or precision that sensors don't have"),
        (230, UNITS, 10, 1, "the agent gives a scale or precision that sensors don't have"),
    ],
)
def test_a_sensor_that_tells_nothing(value: int, scale: int, precision: int, works: int, sentence: str) -> None:
    with pytest.raises(CannotBeUsedError, match=sentence):
        sensor_reading(value, scale, precision, works)


def set_entities(switch: Switch) -> None:
    """Two supplies, one with volts and watts, one with a dead sensor of volts; a sensor of watts in each port."""
    switch.set("entPhysicalClass", CLASSES)
    switch.set("entPhysicalContainedIn", PARENTS)
    switch.set("entPhysicalName", {(1,): b"chassis", (11,): b"PS-1", (12,): b"PS-2", (2001,): b"PoE 1", (2002,): b""})
    switch.set("entPhysicalSerialNum", {(1,): b"SK-0042", (11,): b"A1", (12,): b""})
    switch.set("entStateOper", {(1,): 3, (11,): 3, (12,): 2})
    sensors = {
        21: (VOLTS_AC, UNITS, 1, 2304, 1),
        22: (WATTS, UNITS, 0, 96, 1),
        23: (VOLTS_AC, UNITS, 0, 0, 3),
        31: (CELSIUS, UNITS, 0, 41, 1),
        2001: (WATTS, MILLI, 0, 6400, 1),
        2002: (WATTS, MILLI, 0, 0, 1),
    }
    for place, name in enumerate(("Type", "Scale", "Precision", "Value", "OperStatus")):
        switch.set(f"entPhySensor{name}", {(entity,): row[place] for entity, row in sensors.items()})
    switch.set("entAliasMappingIdentifier", {(1001, 0): (*IF_INDEX, 101), (1002, 0): (*IF_INDEX, 102)})


def check(seen: UnitObservation) -> None:
    assert seen.outcome is Outcome.ANSWERED, seen.reason
    assert seen.text(None, Quantity.UNIT_SERIAL) == "SK-0042"
    assert seen.supplies() == ("PS-1", "PS-2")
    one, two = seen.of_supply("PS-1", Quantity.SUPPLY_STATE), seen.of_supply("PS-2", Quantity.SUPPLY_STATE)
    assert one is not None
    assert two is not None
    assert (one.value, two.value) == ("enabled", "disabled")
    volts = seen.of_supply("PS-1", Quantity.SUPPLY_VOLTAGE_AC)
    assert volts is not None
    assert (volts.value, volts.unit, volts.basis) == (230.4, "V", None)
    watts = seen.of_supply("PS-1", Quantity.SUPPLY_DRAW)
    assert watts is not None
    assert (watts.value, watts.unit, watts.basis) == (96, "W", Basis.MEASURED)
    dead = seen.of_supply("PS-2", Quantity.SUPPLY_VOLTAGE_AC)
    assert dead is not None
    assert (dead.value, dead.missing) == (None, "the sensor does not work")
    serial = seen.of_supply("PS-1", Quantity.SUPPLY_SERIAL)
    assert serial is not None
    assert serial.value == "A1"
    assert seen.of_supply("PS-2", Quantity.SUPPLY_SERIAL) is None
    drawn = told(seen, "1", Quantity.PORT_DRAW)
    assert (drawn.value, drawn.basis, drawn.source) == (6.4, Basis.MEASURED, "ENTITY-SENSOR-MIB entPhySensorValue")
    assert seen.number("2", Quantity.PORT_DRAW) == 0
    assert seen.ports() == ("1", "2")


def on(work: Callable[[Switch], Awaitable[None]]) -> None:
    async def within() -> None:
        switch = Switch()
        set_entities(switch)
        await work(switch)

    run(within)


def test_supplies_and_sensors() -> None:
    async def work(switch: Switch) -> None:
        for slow in (True, False, True):
            check(await switch.poll(slow))
        await switch.poll()
        assert switch.asked() <= 3  # the cycle's own, and twelve values: eleven of them are in one request

    on(work)


def test_supplies_and_sensors_of_a_real_agent(tmp_path: Path) -> None:
    switch = Switch()
    set_entities(switch)
    recording = switch.write(tmp_path / "made.snmprec")

    async def work() -> list[UnitObservation]:
        async with opened({"a": Community(COMMUNITY)}) as engine:
            one = reader(agent.address, engine)
            return [await poll(one, 20), await poll(one, 20, slow=False)]

    with real_agent(recording) as agent:
        for observation in run(work):
            check(observation)


def test_the_standard_s_own_column_comes_first_and_private_ones_last() -> None:
    async def work(switch: Switch) -> None:
        switch.set("extremePethPortMeasuredPower", {(1, 1): 9900, (1, 2): 9900})
        assert (await switch.poll()).number("1", Quantity.PORT_DRAW) == 6.4
        switch.set("pethPsePortActualPower", {(1, 1): 6541, (1, 2): 0})
        assert (await switch.poll(slow=True)).number("1", Quantity.PORT_DRAW) == 6.541
        await switch.poll()
        value = (1, 3, 6, 1, 2, 1, 99, 1, 1, 1, 4)
        asked = [oid for oids, _ in switch.engine.asked for oid in oids]
        assert (*value, 21) in asked  # the supply's volts
        assert (*value, 2001) not in asked

    on(work)


@pytest.mark.parametrize(
    "words",
    ["Receive Power Sensor", "Xcvr 1 TX power", "DOM TX Power Sensor for port 1", "SFP optical power", "laser"],
)
def test_light_is_never_read_as_poe(words: str) -> None:
    async def work(switch: Switch) -> None:
        switch.set("entPhysicalDescr", {(2001,): words.encode()})
        assert told(await switch.poll(), "1", Quantity.PORT_DRAW).value is None

    on(work)


def test_what_lies_deeper_below_a_port_is_something_plugged_in() -> None:
    """A recorded agent: port, transceiver (container), lane (module), sensor of watts."""

    async def work(switch: Switch) -> None:
        switch.set("entPhysicalClass", CLASSES | {(3001,): 5})
        switch.set("entPhysicalContainedIn", PARENTS | {(3001,): 1001, (2001,): 3001})
        seen = await switch.poll()
        assert told(seen, "1", Quantity.PORT_DRAW).value is None
        assert seen.number("2", Quantity.PORT_DRAW) == 0

    on(work)


def test_two_sensors_of_watts_in_one_port_are_not_chosen_between() -> None:
    async def work(switch: Switch) -> None:
        switch.set("entPhysicalContainedIn", PARENTS | {(2002,): 1001})
        refused = told(await switch.poll(), "1", Quantity.PORT_DRAW)
        assert refused.missing == "the agent has several sensors of this kind there, and nothing says which is meant"

    on(work)


def test_of_two_sensors_in_a_supply_the_one_at_the_input_counts() -> None:
    async def work(switch: Switch) -> None:
        switch.set("entPhySensorType", {(21,): VOLTS_AC, (22,): VOLTS_AC, (23,): VOLTS_AC})
        switch.set("entPhysicalDescr", {(21,): b"PS-1 Input Voltage", (22,): b"PS-1 Output Voltage"})
        volts = (await switch.poll()).of_supply("PS-1", Quantity.SUPPLY_VOLTAGE_AC)
        assert volts is not None
        assert volts.value == 230.4

    on(work)


def test_entities_that_this_user_may_not_see_are_no_refusal() -> None:
    """The agent answers authorizationError (16, RFC 3416) to every question about entities' names and scales."""

    async def work(switch: Switch) -> None:
        hidden = [OBJECTS[name].arcs for name in ("entPhysicalName", "entPhySensorScale", "entPhysicalSerialNum")]

        def twist(engine: MapEngine, oids: Sequence[Oid], repetitions: int | None) -> Answer:
            if any(oid[: len(arcs)] == arcs for oid in oids for arcs in hidden):
                return Answer((), 16, 0)
            return engine.honest(oids, repetitions)

        switch.engine.twist = twist
        seen = await switch.poll()
        assert seen.outcome is not Outcome.REFUSED
        assert seen.text("1", Quantity.PORT_STATE) == "delivering"

    on(work)


def test_a_tree_that_bites_its_tail_ends() -> None:
    async def work(switch: Switch) -> None:
        switch.set(
            "entPhysicalContainedIn", PARENTS | {(11,): 12, (12,): 11, (31,): 31, (2001,): 2002, (2002,): 2001}
        )
        seen = await switch.poll()
        assert seen.outcome is Outcome.ANSWERED
        assert told(seen, "1", Quantity.PORT_DRAW).value is None

    on(work)


def test_supplies_of_one_name_are_told_by_their_place() -> None:
    async def work(switch: Switch) -> None:
        switch.set("entPhysicalName", {(11,): b"Power Supply", (12,): b"Power Supply"})
        assert (await switch.poll()).supplies() == ("supply 1", "supply 2")

    on(work)


def test_eighteen_recorded_transceivers_cost_a_cycle_nothing() -> None:
    """The recording has 95 sensors; none lies in a PoE port. Only those of its supplies are asked again."""
    recording = need_recordings() / "optical-watts-no-poe.snmprec"
    switch = Switch()
    switch.engine.rows |= recorded_rows(recording)

    async def work() -> UnitObservation:
        await switch.poll()
        return await switch.poll()

    seen = run(work)
    assert not [record for record in seen.records if record.unit == "W" and record.value is not None]
    assert switch.asked() == 2
    volts = [seen.of_supply(name, Quantity.SUPPLY_VOLTAGE_AC) for name in seen.supplies()]
    # 21600 and 21850 of units(9), two decimal places, of the sensors that are called "Input voltage sensor"
    assert [record.value for record in volts if record is not None] == [216.0, 218.5]
