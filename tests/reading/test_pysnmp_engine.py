"""The engine against net-snmp's own agent and tool: the same values, every security level, and what refusals say."""

from __future__ import annotations

import asyncio
import logging
import random
import re
import socket
from collections.abc import Iterator
from dataclasses import replace

import pytest
from tests.reading.leftovers import library_leftovers
from tests.reading.meddler import Meddler
from tests.reading.polling import opened, poll, reader, run
from tests.reading.real_agent import AUTH, COMMUNITY, PRIVACY, RealAgent, real_agent, user
from tests.reading.recording import recorded_rows
from tests.reading.tool_output import bulk_walk
from tests.requirements import need_recordings

from portdraw.observation.record import Quantity
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.reading.access import Access, Community, User
from portdraw.reading.catalogue import standard_catalogue
from portdraw.reading.columns import Reader
from portdraw.reading.engine import Failure, ReadError, parse_address
from portdraw.reading.varbind import Oid, Varbind, parse_oid

V2C = Community(COMMUNITY)
V3 = user("sha256", "aes128")
PAIRS = [(auth, privacy) for auth in AUTH for privacy in (*PRIVACY, "none")] + [("none", "none")]
SECRETS = (b"watch-only", b"correct horse", b"wrong secret", b"other-community")
SILENT_S = 1.2  # deadline of polls that are expected to bring nothing

# entries of tables, of which every column is read: power, private columns, LLDP (the arc 1.0.8802 too), IF, ENTITY
ENTRIES = {
    "eight-port-measured": (
        "1.3.6.1.2.1.105.1.1.1",
        "1.3.6.1.2.1.105.1.3.1.1",
        "1.3.6.1.4.1.1916.1.27.1.2.1",
        "1.3.6.1.4.1.1916.1.27.2.1.1",
        "1.0.8802.1.1.2.1.3.7.1",
        "1.0.8802.1.1.2.1.4.1.1",
        "1.0.8802.1.1.2.1.5.4623.1.2.2.1",
        "1.0.8802.1.1.2.1.5.4795.1.2.11.1",
        "1.0.8802.1.1.2.1.5.4795.1.3.7.1",
        "1.3.6.1.2.1.31.1.1.1",
    ),
    "private-table-only-measured": (
        "1.3.6.1.4.1.1991.1.1.2.14.2.2.1",
        "1.0.8802.1.1.2.1.5.4623.1.3.2.1",
        "1.3.6.1.2.1.2.2.1",
    ),
    "stack-2x48-idle": (
        "1.3.6.1.2.1.105.1.1.1",
        "1.3.6.1.2.1.105.1.3.1.1",
        "1.3.6.1.4.1.9.9.402.1.2.1",
        "1.3.6.1.2.1.47.1.3.2.1",
    ),
    "optical-watts-no-poe": ("1.3.6.1.2.1.99.1.1.1",),
}


@pytest.fixture(scope="module")
def agent() -> Iterator[RealAgent]:
    users = [user(auth, privacy) for auth, privacy in PAIRS]
    with real_agent(need_recordings() / "eight-port-measured.snmprec", users) as running:
        yield running


def read_columns(agent: RealAgent, access: Access, tables: list[list[Oid]]) -> list[list[Varbind]]:
    """Return the rows of each table's columns, by OID."""

    async def work() -> list[list[Varbind]]:
        async with opened({"a": access}) as engine:
            target = parse_address(agent.address, "a")
            one = Reader(engine, target, asyncio.get_running_loop().time() + 60, request_timeout_s=5)
            found = [await one.columns(columns) for columns in tables]
        assert {column.why_cut for table in found for column in table.values()} == {None}
        return [
            sorted((varbind for column in table.values() for varbind in column.rows.values()), key=lambda v: v.oid)
            for table in found
        ]

    return run(work)


@pytest.mark.parametrize("name", ENTRIES)
def test_every_column_reads_as_snmpbulkwalk_and_as_recorded(name: str) -> None:
    """Three ways to the same values: our engine, net-snmp's tool, and the file that the agent serves."""
    path = need_recordings() / f"{name}.snmprec"
    rows = recorded_rows(path)
    accesses: tuple[Access, ...] = (V2C,) if name.startswith("stack") else (V2C, V3)  # it has 3,000 rows
    with real_agent(path, [V3]) as agent:
        entries = [parse_oid(entry) for entry in ENTRIES[name]]
        expected = [[rows[oid] for oid in sorted(rows) if oid[: len(entry)] == entry] for entry in entries]
        assert all(expected)
        columns = [
            sorted({varbind.oid[: len(entry) + 1] for varbind in table})
            for entry, table in zip(entries, expected, strict=True)
        ]
        for access in accesses:
            assert read_columns(agent, access, columns) == expected
            assert [bulk_walk(agent, access, entry) for entry in entries] == expected


@pytest.mark.parametrize(("auth", "privacy"), PAIRS, ids=lambda value: str(value))
def test_every_pair_of_algorithms_that_net_snmp_has(agent: RealAgent, auth: str, privacy: str) -> None:
    """Each user reads the same power table; net-snmp 5.9 offers MD5 to SHA-512, DES, and AES with all three keys.

    Triple DES it does not know: test_privacy_keys has that.
    """
    access = user(auth, privacy)
    root = parse_oid("1.3.6.1.2.1.105.1.1.1.6")
    (ours,) = read_columns(agent, access, [[root]])
    assert [varbind.value for varbind in ours] == [2, 2, 3, 3, 2, 2, 2, 3]
    assert ours == bulk_walk(agent, access, root)


def polled(agent: RealAgent, access: Access, deadline_s: float) -> UnitObservation:
    async def work() -> UnitObservation:
        async with opened({"a": access}) as engine:
            return await poll(reader(agent.address, engine), deadline_s)

    return run(work)


REFUSALS: dict[str, tuple[Access, Outcome, str]] = {
    "unknown user": (replace(V3, user="stranger"), Outcome.REFUSED, "does not know this user name"),
    "wrong authentication secret": (
        replace(V3, auth_secret=b"wrong secret one"),
        Outcome.REFUSED,
        "refuses the authentication secret or its algorithm",
    ),
    "wrong authentication algorithm": (
        replace(V3, auth="sha512"),
        Outcome.REFUSED,
        "refuses the authentication secret or its algorithm",
    ),
    "wrong privacy secret": (
        replace(V3, privacy_secret=b"wrong secret two"),
        Outcome.REFUSED,
        "does not answer this user: the privacy secret or its algorithm is wrong, or the agent is too busy",
    ),
    "wrong privacy algorithm": (
        replace(V3, privacy="des"),
        Outcome.REFUSED,
        "does not answer this user: the privacy secret or its algorithm is wrong, or the agent is too busy",
    ),
    "wrong way to make a long key": (
        replace(user("sha1", "aes256"), privacy="aes256-blumenthal"),
        Outcome.REFUSED,
        "does not answer this user: the privacy secret or its algorithm is wrong, or the agent is too busy",
    ),
    "level far too low": (
        replace(V3, auth="none", auth_secret=b"", privacy="none", privacy_secret=b""),
        Outcome.REFUSED,
        "does not let this user see these objects",
    ),
    "level too low": (
        replace(V3, privacy="none", privacy_secret=b""),
        Outcome.REFUSED,
        "does not let this user see these objects",
    ),
    "level not offered": (
        replace(user("sha256", "none"), privacy="aes128", privacy_secret=b"wrong secret two"),
        Outcome.REFUSED,
        "does not offer this security level to this user",
    ),
    "authentication not offered": (
        replace(user("none", "none"), auth="sha256", auth_secret=b"wrong secret one"),
        Outcome.REFUSED,
        "does not offer this security level to this user",
    ),
    "wrong community": (
        Community(b"other-community"),
        Outcome.SILENT,
        "It is off, can't be reached, or refuses these credentials",
    ),
}


@pytest.mark.parametrize("case", REFUSALS)
def test_refusal_is_named_and_tells_no_secret(
    agent: RealAgent, case: str, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    access, outcome, sentence = REFUSALS[case]
    caplog.set_level(logging.DEBUG)
    observation = polled(agent, access, SILENT_S)
    assert observation.outcome is outcome, observation.reason
    assert sentence in observation.reason
    assert observation.records == ()
    captured = capfd.readouterr()
    told = " ".join([repr(access), repr(observation), observation.reason, caplog.text, captured.out, captured.err])
    for secret in SECRETS:
        assert secret.decode() not in told
        assert secret.hex() not in told


def test_second_poll_with_a_wrong_privacy_secret_says_the_same(agent: RealAgent) -> None:
    """What the library remembers of the first poll must not turn "credentials" into "silence"."""

    async def work() -> list[UnitObservation]:
        async with opened({"a": replace(V3, privacy_secret=b"wrong secret two")}) as engine:
            one = reader(agent.address, engine)
            return [await poll(one, SILENT_S), await poll(one, SILENT_S)]

    first, second = run(work)
    assert (first.outcome, first.reason) == (second.outcome, second.reason)
    assert first.outcome is Outcome.REFUSED


# restarts


@pytest.mark.parametrize("how", ["same engine id", "count of restarts lost", "new engine id"])
def test_restarted_agent_is_resynchronised(how: str) -> None:
    """RFC 3414: a new boot puts us outside its time window, another engine id makes us unknown. No "credentials"."""
    with real_agent(need_recordings() / "eight-port-measured.snmprec", [V3]) as agent:

        async def work() -> list[UnitObservation]:
            async with opened({"a": V3}) as engine:
                one = reader(agent.address, engine)
                seen = [await poll(one, 8)]
                await asyncio.to_thread(agent.stop, how == "count of restarts lost")
                if how == "count of restarts lost":
                    agent.forget_state()
                if how == "new engine id":
                    agent.engine_id = "80001f8804706f72746472617732"
                await asyncio.to_thread(agent.start)
                answer = await engine.get(parse_address(agent.address, "a"), [parse_oid("1.3.6.1.2.1.1.3.0")], 5)
                assert len(answer.varbinds) == 1  # within one question, not by asking again
                seen += [await poll(one, 8, slow=False), await poll(one, 8, slow=False)]
                return seen

        before, after, again = run(work)
    for observation in (before, after, again):
        assert observation.outcome is Outcome.ANSWERED, observation.reason
        assert [observation.number(port, Quantity.PORT_DRAW) for port in ("1003", "1004", "1008")] == [3.6, 3.7, 4.1]
    assert again.requests < before.requests  # and it goes on asking only for what is there


def test_hung_agent_is_silence_and_comes_back(agent: RealAgent) -> None:
    async def work() -> list[UnitObservation]:
        async with opened({"a": V3}) as engine:
            one = reader(agent.address, engine)
            seen = [await poll(one, 8)]
            agent.pause()
            try:
                seen.append(await poll(one, 1.2, slow=False))
            finally:
                agent.resume()
            seen.append(await poll(one, 8, slow=False))
            return seen

    before, hung, after = run(work)
    assert (before.outcome, hung.outcome, after.outcome) == (Outcome.ANSWERED, Outcome.SILENT, Outcome.ANSWERED)
    assert hung.records == ()
    assert "no answer within 1.2" in hung.reason


# answers changed on the way


def one_bit(data: bytes, dice: random.Random) -> bytes:
    """Change one bit with a chance of one half."""
    octets = bytearray(data)
    if dice.random() < 0.5:
        octets[dice.randrange(len(octets))] ^= 1 << dice.randrange(8)
    return bytes(octets)


def test_a_changed_v3_answer_is_never_believed(agent: RealAgent) -> None:
    """Every octet is under the digest (RFC 3414, 6.3.2): one changed bit, and the answer is no answer."""
    oid = parse_oid("1.3.6.1.4.1.1916.1.27.2.1.1.6.1.1003")

    async def work() -> tuple[list[object], int, int]:
        loop = asyncio.get_running_loop()
        transport, meddler = await loop.create_datagram_endpoint(
            lambda: Meddler(agent.port, one_bit, 11), local_addr=("127.0.0.1", 0)
        )
        async with opened({"a": V3}) as engine:
            target = parse_address(f"127.0.0.1:{transport.get_extra_info('sockname')[1]}", "a")
            ends: list[object] = []
            for _ in range(60):
                try:
                    answer = await engine.get(target, [oid], 0.15)
                except ReadError as error:
                    ends.append(error)
                else:
                    ends.append([varbind.value for varbind in answer.varbinds])
            left = library_leftovers(engine)
        transport.close()
        return ends, meddler.changed, left

    ends, changed, left = run(work)
    true = [end for end in ends if end == [3600]]
    assert len(true) + sum(isinstance(end, ReadError) for end in ends) == 60
    assert len(true) > 5
    assert changed > 20
    assert left == 0


# what stays behind in the library


@pytest.mark.parametrize("access", [V2C, V3], ids=["v2c", "v3"])
def test_two_hundred_timeouts_leave_nothing_behind(agent: RealAgent, access: Access) -> None:
    async def work() -> tuple[int, int, int]:
        async with opened({"a": access}) as engine:
            target = parse_address(agent.address, "a")
            oids = [parse_oid("1.3.6.1.2.1.1.3.0")]
            await engine.get(target, oids, 5)
            at_rest = library_leftovers(engine)
            agent.pause()
            try:
                asked = [engine.get(target, oids, 0.3) for _ in range(200)]
                ends = await asyncio.gather(*asked, return_exceptions=True)
            finally:
                agent.resume()
            silent = sum(isinstance(end, ReadError) and end.failure is Failure.SILENT for end in ends)
            return at_rest, silent, library_leftovers(engine)

    at_rest, silent, left = run(work)
    assert silent == 200
    assert left == at_rest == 0


def test_an_address_that_can_not_be_found_is_said_in_time() -> None:
    """The name is of a top level that never resolves (RFC 6761, "invalid")."""

    async def work() -> UnitObservation:
        async with opened({"a": V2C}) as engine:
            return await poll(reader("nobody.invalid:161", engine), 3)

    observation = run(work)
    assert observation.outcome is Outcome.SILENT
    assert re.match(
        r"the address of nobody\.invalid (can't be found|was not found within [0-9.]+ s)\.$", observation.reason
    )


def test_a_user_that_the_library_can_not_take_is_one_sentence() -> None:
    access = User("u", "sha256", b"correct horse one", "aes128", b"")

    async def work() -> UnitObservation:
        async with opened({"a": access}) as engine:
            return await poll(reader("127.0.0.1:9", engine), 1)

    observation = run(work)
    assert observation.outcome is Outcome.SILENT
    assert observation.reason == (
        "the user name or a secret of this access can't be used: a secret has 8 octets or more."
    )


def test_every_object_of_the_catalogue_is_in_a_recording_or_listed() -> None:
    """What no recording holds has no second reading here; of the private columns three are in one."""
    modules_unseen = {
        *("IEEE8023-POWER-ETHERNET-MIB", "ENERGY-OBJECT-MIB", "BRIDGE-MIB", "LLDP-V2-MIB", "ENTITY-STATE-MIB"),
        *("IEEE8023-DOT3-LLDP-EXT-V2-MIB", "UPS-MIB"),
    }
    unseen = {
        *("lldpXdot3LocPowerSource", "lldpXdot3RemPowerSource", "lldpXdot3RemPowerType"),
        *("lldpXdot3RemPDRequestedPowerValue", "lldpXdot3LocPDRequestedPowerValue"),
        *("lldpXdot3RemPSEAllocatedPowerValue", "lldpXdot3LocPSEAllocatedPowerValue"),
        *("lldpXMedLocXPoEPDPowerSource", "lldpRemOrgDefInfo"),
        # names and serial numbers were taken out of the recordings
        *("lldpRemSysName", "sysName", "entPhysicalSerialNum", "sysLocation", "ifAlias"),
        *("lldpLocChassisId", "lldpRemChassisId", "lldpRemManAddrIfSubtype"),
    }
    catalogue = standard_catalogue()
    sizes = {len(entry.arcs) for entry in catalogue.objects.values()}
    seen: set[Oid] = set()
    for path in need_recordings().glob("*.snmprec"):
        seen |= {oid[:size] for oid in recorded_rows(path) for size in sizes}
    private = {name for name in catalogue.objects if catalogue.module_of[name].enterprise is not None}
    found = {name for name, entry in catalogue.objects.items() if entry.arcs in seen}
    left = set(catalogue.objects) - found - private
    assert {name for name in left if catalogue.module_of[name].module not in modules_unseen} == unseen
    assert not {name for name in found if catalogue.module_of[name].module in modules_unseen}
    assert found & private == {
        "extremePethPortMeasuredPower",
        "snAgentPoePortConsumed",
        "cpeExtPsePortPwrConsumption",
        "cpeExtPsePortPwrAllocated",
        "cpeExtPsePortMaxPwrDrawn",
    }


# IPv6


def test_an_agent_on_ipv6_reads_as_the_tool_reads_it() -> None:
    """[::1]:PORT as a site file writes it, by v2c and v3, beside net-snmp's tool; and a poll of the unit."""
    root = parse_oid("1.3.6.1.2.1.105.1.1.1.6")
    with real_agent(need_recordings() / "eight-port-measured.snmprec", [V3], host="::1") as agent:
        assert agent.address.startswith("[::1]:")
        for access in (V2C, V3):
            (ours,) = read_columns(agent, access, [[root]])
            assert [varbind.value for varbind in ours] == [2, 2, 3, 3, 2, 2, 2, 3]
            assert ours == bulk_walk(agent, access, root)
        observation = polled(agent, V3, 8)
    assert observation.outcome is Outcome.ANSWERED, observation.reason
    assert [observation.number(port, Quantity.PORT_DRAW) for port in ("1003", "1004", "1008")] == [3.6, 3.7, 4.1]


@pytest.mark.parametrize("host", ["127.0.0.1", "::1"])
def test_a_name_with_both_kinds_of_address_is_found_by_either(host: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The agent listens on one of the two; the other is silent, which costs one question."""

    def both(name: str, *rest: object, **more: object) -> list[tuple[object, ...]]:
        assert name == "switch.example"
        return [
            (socket.AF_INET6, socket.SOCK_DGRAM, 17, "", ("::1", 0, 0, 0)),
            (socket.AF_INET, socket.SOCK_DGRAM, 17, "", ("127.0.0.1", 0)),
        ]

    monkeypatch.setattr("portdraw.reading.addresses.socket.getaddrinfo", both)
    with real_agent(need_recordings() / "eight-port-measured.snmprec", [V3], host=host) as agent:

        async def work() -> list[UnitObservation]:
            async with opened({"a": V3}) as engine:
                one = reader(f"switch.example:{agent.port}", engine)
                return [await poll(one, 8), await poll(one, 8, slow=False)]

        first, second = run(work)
    for observation in (first, second):
        assert observation.outcome is Outcome.ANSWERED, observation.reason
        assert observation.number("1003", Quantity.PORT_DRAW) == 3.6
    assert second.requests < first.requests
