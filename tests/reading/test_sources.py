"""What the standard modules say beyond port states: LLDP classes, wishes, grants, raw TLVs, misplaced tables, UPS."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
from tests.reading.polling import opened, poll, reader, run
from tests.reading.real_agent import COMMUNITY, real_agent
from tests.reading.switch import Switch, told
from tests.references.reference_table import rows

from portdraw.observation.record import Basis, PowerSource, Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.reading.access import Community
from portdraw.reading.power_tlv import split_tlv

PSE, PD = 1, 2  # LldpPowerPortClass
TLVS = {row["tlv"]: bytes.fromhex(row["octets"]) for row in rows("lldp_power_tlvs.csv")}
V2_PORT_1, V2_PORT_2 = (0, 101, 1, 5), (0, 102, 1, 6)  # time mark, ifIndex, destination row, neighbour


def on(work: Callable[[Switch], Awaitable[None]], with_power_table: bool = True) -> None:
    async def within() -> None:
        await work(Switch(with_power_table))

    run(within)


def set_802_3_1(switch: Switch) -> None:
    """A camera on port 1 and a fed unit on port 2; the switch's own feed comes in on interface 103."""
    switch.set("lldpV2Xdot3LocPowerPortClass", {(101,): PSE, (102,): PSE, (103,): PD})
    switch.set("lldpV2Xdot3LocPSEAllocatedPowerValue", {(101,): 130, (102,): 510, (103,): 713})
    switch.set("lldpV2Xdot3LocPDRequestedPowerValue", {(101,): 130, (102,): 600, (103,): 713})
    switch.set("lldpV2Xdot3LocPowerSource", {(101,): 0, (102,): 0, (103,): 3})
    switch.set("lldpV2Xdot3RemPowerPortClass", {V2_PORT_1: PD, V2_PORT_2: PD})
    switch.set("lldpV2Xdot3RemPowerSource", {V2_PORT_1: 5, V2_PORT_2: 4})
    switch.set("lldpV2Xdot3RemPowerClass", {V2_PORT_1: 4, V2_PORT_2: 5})
    switch.set("lldpV2Xdot3RemPowerType", {V2_PORT_1: 2, V2_PORT_2: 3})
    switch.set("lldpV2Xdot3RemPowerPriority", {V2_PORT_1: 0, V2_PORT_2: 2})
    switch.set("lldpV2Xdot3RemPDRequestedPowerValue", {V2_PORT_1: 130, V2_PORT_2: 600})
    switch.set("lldpV2Xdot3RemPSEAllocatedPowerValue", {V2_PORT_1: 130, V2_PORT_2: 600})


def check_802_3_1(seen: UnitObservation) -> None:
    grant = told(seen, "2", Quantity.PORT_GRANTED)
    assert (grant.value, grant.unit, grant.basis) == (51.0, "W", Basis.GRANTED)
    assert grant.source == "IEEE8023-DOT3-LLDP-EXT-V2-MIB lldpV2Xdot3LocPSEAllocatedPowerValue"
    wish = told(seen, "2", Quantity.PORT_REQUESTED)
    assert (wish.value, wish.basis) == (60.0, Basis.CEILING)
    assert [seen.number(port, Quantity.PORT_CLASS_LLDP) for port in ("1", "2")] == [3, 4]
    assert [seen.text(port, Quantity.PORT_PD_TYPE) for port in ("1", "2")] == ["type 1 PD", "type 2 PD"]
    assert [seen.text(port, Quantity.PORT_PD_PRIORITY) for port in ("1", "2")] == ["low", "critical"]
    assert [seen.text(port, Quantity.PORT_PD_SOURCE) for port in ("1", "2")] == [PowerSource.PSE, PowerSource.LOCAL]
    assert seen.text(None, Quantity.UNIT_OWN_SOURCE) == PowerSource.BOTH
    assert seen.number(None, Quantity.UNIT_FEED_GRANTED) == 71.3
    assert seen.number(None, Quantity.UNIT_FEED_REQUESTED) == 71.3
    assert told(seen, "1", Quantity.PORT_DRAW).value is None  # neither a grant nor a wish is a draw


def test_grants_wishes_and_classes_of_802_3_1() -> None:
    """IEEE 802.3.1: tenths of a watt, equations 79-1 and 79-2; 4 of the local sources is 5 of the remote ones."""

    async def work(switch: Switch) -> None:
        set_802_3_1(switch)
        check_802_3_1(await switch.poll())
        again = await switch.poll()
        assert switch.asked() == 1
        check_802_3_1(again)
        check_802_3_1(await switch.poll(slow=True))

    on(work)


def test_the_same_through_a_real_agent(tmp_path: Path) -> None:
    """net-snmp's agent serves the rows; asked over a socket by v2c."""
    switch = Switch()
    set_802_3_1(switch)
    switch.set("lldpRemOrgDefInfo", {(0, 101, 7, 0, 0x12, 0x0F, 8, 1): split_tlv(TLVS["measured"])[2]})
    switch.set("upsOutputSource", {(0,): 5})
    switch.set("upsEstimatedMinutesRemaining", {(0,): 12})
    recording = switch.write(tmp_path / "made.snmprec")

    async def work() -> list[UnitObservation]:
        async with opened({"a": Community(COMMUNITY)}) as engine:
            one = reader(agent.address, engine)
            return [await poll(one, 20), await poll(one, 20, slow=False)]

    with real_agent(recording) as agent:
        seen = run(work)
    for observation in seen:
        assert observation.outcome is Outcome.ANSWERED, observation.reason
        check_802_3_1(observation)
        assert observation.number("1", Quantity.PORT_PD_DRAW) == 26.53
        assert observation.text(None, Quantity.UPS_OUTPUT_SOURCE) == "battery"
        assert observation.number(None, Quantity.UPS_REMAINING) == 720


@pytest.mark.parametrize(
    ("role", "octet", "source"),
    [(PD, 0xC0, PowerSource.BOTH), (PD, 0x40, PowerSource.PSE), (PD, 0x80, PowerSource.LOCAL), (PSE, 0x40, None)],
)
def test_two_bits_below_the_old_root_are_read_by_whose_they_are(
    role: int, octet: int, source: PowerSource | None
) -> None:
    """01 from a device is "PSE"; from a switch it is "primary source", which tells no leg (IEEE 802.3, 79.3.2)."""

    async def work(switch: Switch) -> None:
        neighbour = (22, 101, 4)
        switch.set("lldpXdot3RemPowerPortClass", {neighbour: role})
        switch.set("lldpXdot3RemPowerSource", {neighbour: bytes([octet])})
        switch.set("lldpXdot3LocPowerPortClass", {(103,): role})
        switch.set("lldpXdot3LocPowerSource", {(103,): bytes([octet])})
        await switch.poll()
        # the time mark changes with all that a neighbour says; whose end it is lasts
        switch.set("lldpXdot3RemPowerSource", {(99, 101, 4): bytes([octet])})
        seen = await switch.poll()
        assert switch.asked() == 1
        assert seen.text("1", Quantity.PORT_PD_SOURCE) == source
        assert seen.text(None, Quantity.UNIT_OWN_SOURCE) == source

    on(work)


def test_two_bits_of_nobody_knows_whom_are_not_read() -> None:
    async def work(switch: Switch) -> None:
        switch.set("lldpXdot3RemPowerSource", {(0, 101, 4): b"\x40"})
        seen = told(await switch.poll(), "1", Quantity.PORT_PD_SOURCE)
        assert (seen.value, seen.missing) == (None, "the agent does not say which end of the feed sent these bits")

    on(work)


def test_milliwatts_where_tenths_of_a_watt_stand_are_refused() -> None:
    """The SNMP test of an open LLDP agent expects 2000 and 2500 in these columns: milliwatts by its own reckoning."""

    async def work(switch: Switch) -> None:
        switch.set("lldpXdot3LocPowerPortClass", {(101,): PSE, (102,): PSE})
        switch.set("lldpXdot3LocPDRequestedPowerValue", {(101,): 2000})
        switch.set("lldpXdot3LocPSEAllocatedPowerValue", {(101,): 2500, (102,): 0})
        seen = await switch.poll()
        assert (
            told(seen, "1", Quantity.PORT_GRANTED).missing == "250 W is refused: port granted is from 0.1 to 99.9 W"
        )
        assert told(seen, "1", Quantity.PORT_REQUESTED).value is None
        assert told(seen, "2", Quantity.PORT_GRANTED).missing == "0 W is refused: port granted is from 0.1 to 99.9 W"

    on(work)


def test_med_asks_and_does_not_measure() -> None:
    """ANSI/TIA-1057: tenths of a watt up to 1023; fromPSE 2, local 3, localAndPSE 4. Better sources stay."""

    async def work(switch: Switch) -> None:
        switch.set("lldpXMedRemXPoEPDPowerReq", {(0, 101, 1): 100, (0, 102, 1): 1023})
        switch.set("lldpXMedRemXPoEPDPowerSource", {(0, 101, 1): 4, (0, 102, 1): 3})
        switch.set("lldpXMedRemXPoEPDPowerPriority", {(0, 101, 1): 2, (0, 102, 1): 1})
        switch.set("lldpXMedLocXPoEPDPowerSource", {(0,): 2})
        switch.set("lldpV2Xdot3RemPowerPortClass", {V2_PORT_2: PD})
        switch.set("lldpV2Xdot3RemPDRequestedPowerValue", {V2_PORT_2: 713})
        seen = await switch.poll()
        assert [seen.number(port, Quantity.PORT_REQUESTED) for port in ("1", "2")] == [10.0, 71.3]
        assert told(seen, "1", Quantity.PORT_REQUESTED).basis is Basis.CEILING
        assert told(seen, "1", Quantity.PORT_DRAW).value is None
        assert [seen.text(port, Quantity.PORT_PD_SOURCE) for port in ("1", "2")] == [
            PowerSource.BOTH,
            PowerSource.LOCAL,
        ]
        assert seen.text("1", Quantity.PORT_PD_PRIORITY) == "critical"
        assert seen.text(None, Quantity.UNIT_OWN_SOURCE) == PowerSource.PSE
        assert (await switch.poll()).text(None, Quantity.UNIT_OWN_SOURCE) == PowerSource.PSE

    on(work)


RAW = {"lldpRemOrgDefInfo": (0, 101, 7), "lldpV2RemOrgDefInfo": (0, 101, 1, 7)}
OUI = (0x00, 0x12, 0x0F)


@pytest.mark.parametrize("table", RAW)
def test_raw_tlvs(table: str) -> None:
    """Whole TLVs of tests/references/lldp_power_tlvs.csv, as an agent stores them: behind OUI and subtype."""

    async def work(switch: Switch) -> None:
        def store(*names: str) -> None:
            found = [split_tlv(TLVS[name]) for name in names]
            other = {(*RAW[table], 0x00, 0x80, 0xC2, 2, 1): b"\x01"}  # another organisation's
            switch.set(table, other | {(*RAW[table], *oui, kind, 1): info for oui, kind, info in found})

        store("bt-single", "measured")
        await switch.poll()
        seen = await switch.poll()
        assert seen.number("1", Quantity.PORT_CLASS_EXTENDED) == 8
        assert seen.number("1", Quantity.PORT_CLASS_LLDP) == 4
        assert seen.number("1", Quantity.PORT_REQUESTED) == 71.3
        grant = told(seen, "1", Quantity.PORT_GRANTED)
        assert (grant.value, grant.basis) == (62.0, Basis.GRANTED)
        assert grant.source.endswith(f"{table}, Power via MDI TLV")
        assert seen.text("1", Quantity.PORT_PD_SOURCE) == PowerSource.BOTH
        assert seen.text("1", Quantity.PORT_PD_TYPE) == "type 4 PD"
        drawn = told(seen, "1", Quantity.PORT_PD_DRAW)
        assert (drawn.value, drawn.unit, drawn.basis) == (26.53, "W", Basis.MEASURED)
        assert seen.number("1", Quantity.PORT_PD_VOLTAGE) == 53.2
        assert seen.number("1", Quantity.PORT_PD_CURRENT) == 0.4987
        assert told(seen, "1", Quantity.PORT_DRAW).value is None  # at the other end of the cable
        store("bt-dual", "measured-in-part")
        seen = await switch.poll()
        assert seen.text("1", Quantity.PORT_CLASS_EXTENDED) == "3+4"
        assert (
            seen.text("1", Quantity.PORT_PD_SOURCE) == PowerSource.PSE
        )  # AC is gone: at once, not at the next slow poll
        assert seen.get("1", Quantity.PORT_PD_CURRENT) is None
        store("at-pse-backup")
        assert (await switch.poll()).get("1", Quantity.PORT_PD_SOURCE) is None
        switch.set(table, {(*RAW[table], *OUI, 2, 1): bytes(7)})
        refused = told(await switch.poll(), "1", Quantity.PORT_PD_SOURCE)
        assert refused.missing == "a Power via MDI TLV has 3, 8 or 25 octets here, this one has 7"

    on(work)


def test_what_the_agent_understood_comes_before_raw_tlvs() -> None:
    async def work(switch: Switch) -> None:
        set_802_3_1(switch)
        switch.set("lldpRemOrgDefInfo", {(0, 102, 6, *OUI, 2, 1): split_tlv(TLVS["bt-single"])[2]})
        for slow in (True, False, False):
            seen = await switch.poll(slow)
            check_802_3_1(seen)
            assert seen.number("2", Quantity.PORT_CLASS_EXTENDED) == 8

    on(work)


def test_tables_below_the_arc_of_ieee_alone() -> None:
    """IEEE 802.3.1, clause 8: the tables of RFC 3621 once more, for an agent that has no others."""

    async def work(switch: Switch) -> None:
        switch.set("pethPsePortDetectionStatus@ieee", {(1, 1): 3, (1, 2): 2})
        switch.set("pethPsePortPowerClassifications@ieee", {(1, 1): 4, (1, 2): 1})
        switch.set("pethPsePortActualPower", {(1, 1): 6540, (1, 2): 0})
        switch.set("pethPsePortPowerAccuracy", {(1, 1): 250, (1, 2): 250})
        switch.set("pethPsePortCumulativeEnergy", {(1, 1): 4_294_960_000, (1, 2): 0})
        switch.set("pethMainPsePower@ieee", {(1,): 90})
        switch.set("pethMainPseConsumptionPower@ieee", {(1,): 7})
        for _ in range(2):
            seen = await switch.poll()
            assert seen.ports() == ("1", "2")
            assert seen.text("2", Quantity.PORT_STATE) == "searching"
            assert seen.number("1", Quantity.PORT_CLASS) == 3
            assert seen.number("1", Quantity.PORT_DRAW) == 6.54
            assert seen.number("1", Quantity.PORT_DRAW_UNCERTAINTY) == 0.25
            assert seen.number("1", Quantity.PORT_ENERGY) == 4_294_960.0  # J: the counter is in millijoules
            assert (seen.number(None, Quantity.UNIT_BUDGET), seen.number(None, Quantity.UNIT_DRAW)) == (90, 7)
        assert switch.asked() == 1

    on(work, with_power_table=False)


def test_the_tables_of_ieee_are_not_asked_beside_those_of_the_ietf() -> None:
    async def work(switch: Switch) -> None:
        switch.set("pethPsePortDetectionStatus@ieee", {(1, 1): 6, (1, 2): 6})
        for slow in (True, False, True):
            seen = await switch.poll(slow)
            assert seen.text("1", Quantity.PORT_STATE) == "delivering"
            questions = [oid for oids, _ in switch.engine.asked for oid in oids]
            assert not any(oid[:12] == (1, 3, 111, 2, 802, 3, 1, 8, 1, 1, 1, 6) for oid in questions)

    on(work)


def test_columns_15_to_17_where_rfc_3621_has_none_are_tried_and_named() -> None:
    async def work(switch: Switch) -> None:
        switch.set("pethPsePortActualPower@mib-2", {(1, 1): 6540, (1, 2): 0})
        switch.set("pethPsePortPowerAccuracy@mib-2", {(1, 1): 100, (1, 2): 100})
        switch.set("pethPsePortCumulativeEnergy@mib-2", {(1, 1): 5000, (1, 2): 0})
        seen = await switch.poll()
        assert told(seen, "1", Quantity.PORT_DRAW).source == "IEEE8023-POWER-ETHERNET-MIB pethPsePortActualPower"
        assert (seen.number("1", Quantity.PORT_DRAW), seen.number("1", Quantity.PORT_ENERGY)) == (6.54, 5.0)
        switch.set("pethPsePortActualPower", {(1, 1): 6000, (1, 2): 0})
        assert (await switch.poll(slow=True)).number("1", Quantity.PORT_DRAW) == 6.0

    on(work)


def test_a_ups() -> None:
    """RFC 1628: minutes, percent, watts of each line."""

    async def work(switch: Switch) -> None:
        scalars = {
            "upsOutputSource": 5,
            "upsBatteryStatus": 2,
            "upsSecondsOnBattery": 90,
            "upsEstimatedMinutesRemaining": 47,
            "upsEstimatedChargeRemaining": 88,
            "upsInputLineBads": 3,
        }
        for name, value in scalars.items():
            switch.set(name, {(0,): value})
        switch.set("upsOutputPower", {(1,): 210, (2,): 190, (3,): 0})
        switch.set("upsOutputPercentLoad", {(1,): 23, (2,): 21, (3,): 0})
        for slow in (True, False, True):
            seen = await switch.poll(slow)
            assert seen.outcome is Outcome.ANSWERED, seen.reason
            assert seen.text(None, Quantity.UPS_OUTPUT_SOURCE) == "battery"
            assert seen.text(None, Quantity.UPS_BATTERY_STATE) == "normal"
            assert seen.number(None, Quantity.UPS_ON_BATTERY) == 90
            assert seen.number(None, Quantity.UPS_REMAINING) == 47 * 60
            assert seen.number(None, Quantity.UPS_CHARGE) == 88
            assert seen.number(None, Quantity.UPS_INPUT_FAULTS) == 3
            output = told(seen, None, Quantity.UPS_OUTPUT)
            assert (output.value, output.basis) == (400, Basis.MEASURED)
            assert seen.number(None, Quantity.UPS_LOAD) == 23
        switch.set("upsEstimatedChargeRemaining", {(0,): 101})
        refused = told(await switch.poll(), None, Quantity.UPS_CHARGE)
        assert refused.missing == "101 % is refused: UPS charge is from 0 to 100 %"

    on(work, with_power_table=False)


def test_an_agent_that_lacks_all_this_is_asked_no_more_than_before() -> None:
    """One request a cycle, and not one record about what it can't have."""

    async def work(switch: Switch) -> None:
        switch.set("pethPsePortActualPower", {(1, 1): 6000, (1, 2): 0})
        await switch.poll()
        seen = await switch.poll()
        assert switch.asked() == 1
        (question,) = switch.engine.asked
        assert len(question[0]) == 3  # uptime, states, watts
        for quantity in (Quantity.UPS_OUTPUT_SOURCE, Quantity.UNIT_OWN_SOURCE, Quantity.UNIT_SERIAL):
            assert seen.get(None, quantity) is None
        assert seen.supplies() == ()

    on(work)


def test_the_watts_of_a_further_column_are_kept_in_reserve() -> None:
    async def work(switch: Switch) -> None:
        switch.set("pethPsePortActualPower", {(1, 1): 6100, (1, 2): 7200})
        switch.set("extremePethPortMeasuredPower", {(1, 1): 61, (1, 2): 72})
        for _ in range(2):
            seen = await switch.poll()
            assert [seen.number(port, Quantity.PORT_DRAW) for port in ("1", "2")] == [6.1, 7.2]
            assert [(record.port, record.value) for record in seen.others] == [("1", 0.061), ("2", 0.072)]
            assert {record.source for record in seen.others} == {"EXTREME-POE-MIB extremePethPortMeasuredPower"}

    on(work)


def test_a_column_that_repeats_the_allocation_comes_after_one_that_measures() -> None:
    async def work(switch: Switch) -> None:
        switch.set("cpeExtPsePortPwrConsumption", {(1, 1): 6300, (1, 2): 6300})
        switch.set("cpeExtPsePortPwrAllocated", {(1, 1): 6300, (1, 2): 6300})
        alone = await switch.poll()
        assert told(alone, "1", Quantity.PORT_DRAW).basis is Basis.GRANTED
        switch.set("extremePethPortMeasuredPower", {(1, 1): 3100, (1, 2): 4200})
        switch.set("sysUpTime", {(0,): 100})
        both = await switch.poll()
        watts = told(both, "1", Quantity.PORT_DRAW)
        assert (watts.value, watts.basis) == (3.1, Basis.MEASURED)
        assert both.others == ()

    on(work)


def test_another_set_of_rows_is_read_from_the_start() -> None:
    """A module that is pushed in before another one renumbers: port 1 is another port then."""

    async def work(switch: Switch) -> None:
        switch.set("ifName", {(101,): b"e0/1", (102,): b"e0/2", (103,): b"e0/3"})
        switch.set("ifOperStatus", {(101,): 1, (102,): 2, (103,): 1})
        await switch.poll()
        settled = await switch.poll()
        few = switch.asked()
        assert settled.ports() == ("1", "2")
        switch.set("pethPsePortDetectionStatus", {(1, 1): 3, (1, 2): 3, (1, 3): 3})
        grown = await switch.poll()
        assert grown.ports() == ("1", "2", "3")
        assert grown.text("3", Quantity.PORT_LINK) == "up"  # read in the same poll, by the new rows
        assert switch.asked() > few
        await switch.poll()
        assert switch.asked() <= few

    on(work)
