"""The emulated agents as net-snmp sees them.

Identifiers are written out once more, from the documents named beside them.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import pytest
from tests.rehearsal.net_snmp import run, v2c, v3, walk
from tests.rehearsal.terminal import NIGHT_S, NOON_S, UNBACKED, frost, losing, terminal

from portdraw.rehearsal.emulated_site import EmulatedSite
from portdraw.rehearsal.truth import UnitTruth

SYSTEM_NAME = "1.3.6.1.2.1.1.5.0"  # RFC 3418
DETECTION = "1.3.6.1.2.1.105.1.1.1.6.1"  # RFC 3621 pethPsePortDetectionStatus, group 1
DENIED = "1.3.6.1.2.1.105.1.1.1.12.1"  # RFC 3621 pethPsePortPowerDeniedCounter
MAIN = "1.3.6.1.2.1.105.1.3.1.1"  # RFC 3621 pethMainPseTable
DETECTION_NUMBER = {"searching": "2", "delivering": "3"}  # RFC 3621
# unit: the column where it tells port watts, in mW
WATTS = {
    "core": "1.3.111.2.802.3.1.8.1.1.1.15.1",  # IEEE Std 802.3.1-2013, pethPsePortActualPower
    "berth-1": "1.3.6.1.4.1.9.9.402.1.2.1.9.1",  # enterprise 9, CISCO-POWER-ETHERNET-EXT-MIB
    "ticket-hall": "1.3.6.1.4.1.1991.1.1.2.14.2.2.1.6",  # enterprise 1991, FOUNDRY-POE-MIB, by ifIndex
}
Look = Callable[[EmulatedSite, dict[str, str]], Awaitable[None]]


def _play(time_s: float, look: Look, site: EmulatedSite | None = None) -> None:
    async def scene() -> None:
        emulated = site or EmulatedSite(terminal(), lambda: time_s, NOON_S, 3)
        addresses = await emulated.start()
        try:
            await look(emulated, addresses)
        finally:
            emulated.stop()
        await asyncio.sleep(0.05)  # the loop closes the sockets
        assert len(asyncio.all_tasks()) == 1

    asyncio.run(scene())


@pytest.mark.parametrize("version", ["v2c", "v3"])
def test_net_snmp_reads_what_is_true(version: str) -> None:
    async def look(emulated: EmulatedSite, addresses: dict[str, str]) -> None:
        access = v2c(emulated.credentials) if version == "v2c" else v3(emulated.credentials)
        truth = emulated.truth(NOON_S + 11 * 60)
        assert set(addresses) == set(terminal().units)
        for name, column in WATTS.items():
            unit: UnitTruth = truth.units[name]
            told = await walk(access, addresses[name], column)
            assert told == {f"{column}.{key}": str(round(watts * 1000)) for key, watts in unit.port_w.items()}
            states = await walk(access, addresses[name], DETECTION)
            assert states == {f"{DETECTION}.{key}": DETECTION_NUMBER[state] for key, state in unit.port_state.items()}
            main = await walk(access, addresses[name], MAIN)
            assert main[f"{MAIN}.2.1"] == str(int(unit.budget_w))
            assert main[f"{MAIN}.4.1"] == str(round(unit.outputs_w))
        breakwater = await walk(access, addresses["breakwater"], DENIED)
        assert breakwater[f"{DENIED}.5"] == str(truth.units["breakwater"].denied["5"]) == "3"

    _play(NOON_S + 11 * 60, look)


def test_power_source_at_both_roots_and_both_ends() -> None:
    # minute 11: the pier units run on their feeds, all others on local AC with the feed held
    async def look(emulated: EmulatedSite, addresses: dict[str, str]) -> None:
        access = v2c(emulated.credentials)
        # LLDP-EXT-DOT3-MIB with the column that agents add: one octet, source = octet >> 6; 1 PSE, 3 both
        old_remote = await walk(access, addresses["core"], "1.0.8802.1.1.2.1.5.4623.1.3.2.1.8")
        octets = {name.split(".")[-2]: int(told, 16) >> 6 for name, told in old_remote.items()}
        assert octets == {"1": 1, "3": 3, "4": 3}
        # IEEE Std 802.3.1-2013: remote 3 both; local 3 both; the numbers after 3 differ between the two tables
        new_remote = await walk(access, addresses["core"], "1.3.111.2.802.3.1.5.1.3.2.1.8")
        assert {name.split(".")[-3]: told for name, told in new_remote.items()} == {
            "2": "3",
            "5": "3",
            "6": "3",
            "7": "3",
        }
        own_old = await walk(access, addresses["north-pier"], "1.0.8802.1.1.2.1.5.4623.1.2.2.1.8")
        assert [int(told, 16) >> 6 for told in own_old.values()] == [1]
        own_new = await walk(access, addresses["berth-1"], "1.3.111.2.802.3.1.5.1.2.2.1.8")
        assert list(own_new.values()) == ["3"]
        for root in ("1.0.8802.1.1.2.1.5", "1.3.111.2.802.3.1.5"):
            assert await walk(access, addresses["breakwater"], root) == {}
        names = await walk(access, addresses["core"], "1.0.8802.1.1.2.1.4.1.1.9")  # lldpRemSysName
        heard = {name.split(".")[-2]: told.strip('"') for name, told in names.items()}
        feeds = {key: port.feeds_unit for key, port in terminal().units["core"].ports.items() if port.feeds}
        devices = {key: port.device for key, port in terminal().units["core"].ports.items() if port.device}
        assert {key: bytes.fromhex(text.replace(" ", "")).decode() for key, text in heard.items()} == feeds | devices
        pier = await walk(access, addresses["north-pier"], "1.0.8802.1.1.2.1.4.1.1.9")
        assert {name.split(".")[-2] for name in pier} == {"1", "2", "3", "6", "9"}  # and its feeder, on the uplink
        # no barrier and no berth sensor speaks
        lanes = await walk(access, addresses["entry-lanes"], "1.0.8802.1.1.2.1.4.1.1.9")
        assert {name.split(".")[-2] for name in lanes} == {"1", "2", "5", "9"}
        # IEEE Std 802.1AB, lldpRemManAddrTable: the address 127.0.0.1 stands in the index
        reach = await walk(access, addresses["core"], "1.0.8802.1.1.2.1.4.2.1.3")
        assert all(name.endswith(".1.1.4.127.0.0.1") for name in reach)
        assert len(reach) == 7

    _play(NOON_S + 11 * 60, look)


def test_the_two_enumerations_of_802_3_1_differ() -> None:
    # quay-3 out: berth-1 on its feed. Remote 5 = pdpseonly, local 4 = pdpseonly.
    async def look(emulated: EmulatedSite, addresses: dict[str, str]) -> None:
        access = v2c(emulated.credentials)
        remote = await walk(access, addresses["core"], "1.3.111.2.802.3.1.5.1.3.2.1.8")
        assert {name.split(".")[-3]: told for name, told in remote.items()}["2"] == "5"
        own = await walk(access, addresses["berth-1"], "1.3.111.2.802.3.1.5.1.2.2.1.8")
        assert list(own.values()) == ["4"]

    _play(0, look, EmulatedSite(terminal(), lambda: NOON_S + 61, NOON_S, 3, story=losing("quay-3")))


def test_who_may_read_and_that_nobody_may_write() -> None:
    async def look(emulated: EmulatedSite, addresses: dict[str, str]) -> None:
        held, core = emulated.credentials, addresses["core"]
        refused = [
            ["-v2c", "-c", "not-" + held.community],
            ["-v1", "-c", held.community],
            v3(held, user="nobody"),
            v3(held, auth="another-secret-altogether"),
            v3(held, level="noAuthNoPriv"),
            v3(held, level="authNoPriv"),
        ]
        for access in refused:
            code, printed = await run("snmpget", access, core, SYSTEM_NAME)
            assert '"core"' not in printed, access[:4]
            assert code != 0, access[:4]
        for access in (v2c(held), v3(held)):
            code, printed = await run("snmpset", access, core, SYSTEM_NAME, "s", "renamed")
            assert code != 0
            assert "notWritable" in printed
            code, printed = await run("snmpget", access, core, SYSTEM_NAME, "1.3.6.1.2.1.1.1.0")
            assert code == 0
            assert '"core"' in printed
            assert 'STRING: "EMULATED' in printed

    _play(NOON_S, look)


def test_a_dark_unit_does_not_answer() -> None:
    emulated = EmulatedSite(
        terminal(), lambda: NIGHT_S + 70, NIGHT_S, 3, story=losing(*UNBACKED), noise_share=0.0, temperature=frost
    )

    async def look(emulated: EmulatedSite, addresses: dict[str, str]) -> None:
        access = v2c(emulated.credentials)
        code, printed = await run("snmpget", access, addresses["waiting-room"], SYSTEM_NAME)
        assert code != 0
        assert "Timeout" in printed
        code, printed = await run("snmpget", access, addresses["ticket-hall"], SYSTEM_NAME)
        assert code == 0
        names = await walk(access, addresses["core"], "1.0.8802.1.1.2.1.4.1.1.9")
        assert "7" not in {name.split(".")[-2] for name in names}

    _play(0, look, emulated)
