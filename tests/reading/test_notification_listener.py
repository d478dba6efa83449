"""Notifications as net-snmp's own tools send them, in every version; and a thousand that nobody would send."""

from __future__ import annotations

import asyncio
import gc
import random
import socket
from dataclasses import replace

import pytest
from tests.reading.mutation import mutated
from tests.reading.notifier import PORT_ON_OFF, Ear, ear, send
from tests.reading.real_agent import user

from portdraw.reading.access import Access, Community, User
from portdraw.reading.notification_gate import Fate

COMMUNITY = Community(b"pier-watch")
V3 = user("sha256", "aes128")
AUTH_ONLY = user("sha1", "none")
ACCESSES: dict[str, Access] = {"v2": COMMUNITY, "v3": V3, "old-v3": AUTH_ONLY}
UNITS = {"pier": "127.0.0.5", "quay": "127.0.0.6"}
V1 = ["-v1", "-c", "pier-watch"]
ON_OFF_V1 = ("1.3.6.1.2.1.105", "127.0.0.5", "6", "1", "100", "1.3.6.1.2.1.105.1.1.1.6.1.3", "i", "3")
WORDS = "a port began or ceased to deliver"
SECRETS = [b"pier-watch", V3.auth_secret, V3.privacy_secret]


def no_auth(access: User) -> list[str]:
    return ["-v3", "-u", access.user, "-l", "noAuthNoPriv"]


@pytest.mark.parametrize("program", ["snmptrap", "snmpinform"])
@pytest.mark.parametrize("access", [COMMUNITY, V3, AUTH_ONLY], ids=["v2c", "v3 authPriv", "v3 authNoPriv"])
def test_a_notification_is_a_hint_and_an_inform_is_answered(program: str, access: Access) -> None:
    async def work() -> None:
        async with ear(ACCESSES, **UNITS) as heard:
            assert await send(program, heard.target, access, *PORT_ON_OFF, source="127.0.0.5") == 0
            await heard.until(1)
            assert heard.fates == {Fate.TAKEN: 1}
            (hint,) = heard.hints
            assert (hint.units, hint.words, hint.reads) == (("pier",), WORDS, "cycle")
            assert heard.listener.counts().units == {"pier": 1}

    asyncio.run(work())


@pytest.mark.parametrize(
    ("what", "words", "reads"),
    [
        (ON_OFF_V1, WORDS, "cycle"),
        # generic traps of RFC 1157 by their numbers; RFC 3584, section 3.1, for their names
        (("", "127.0.0.5", "0", "0", "1"), "the agent started anew", "slow"),
        (("", "127.0.0.5", "1", "0", "1"), "the agent started anew, its configuration unaltered", "slow"),
        (("", "127.0.0.5", "2", "0", "1"), "a link went down", "slow"),
        (("", "127.0.0.5", "3", "0", "1"), "a link came up", "slow"),
        (("", "127.0.0.5", "4", "0", "1"), "somebody asked with wrong credentials", "nothing"),
        (("1.3.6.1.2.1.33.2", "127.0.0.5", "6", "1", "1"), "the UPS is on battery", "cycle"),
        # a maker's own name: not known, but worth a look
        (("1.3.6.1.4.1.32473.9", "127.0.0.5", "6", "43", "1"), "notification 1.3.6.1.4.1.32473.9.0.43", "cycle"),
    ],
)
def test_traps_of_version_1(what: tuple[str, ...], words: str, reads: str) -> None:
    async def work() -> None:
        async with ear(ACCESSES, **UNITS) as heard:
            assert await send("snmptrap", heard.target, V1, *what, source="127.0.0.5") == 0
            await heard.until(1)
            assert [(hint.units, hint.words, hint.reads) for hint in heard.hints] == [(("pier",), words, reads)]

    asyncio.run(work())


def test_who_is_no_unit_is_counted_and_not_answered() -> None:
    async def work() -> None:
        async with ear(ACCESSES, **UNITS) as heard:
            assert (
                await send("snmpinform", heard.target, COMMUNITY, *PORT_ON_OFF, source="127.0.0.9", patient=False)
                == 1
            )
            assert set(heard.fates) == {Fate.UNKNOWN}
            assert heard.hints == []

    asyncio.run(work())


@pytest.mark.parametrize(
    "how",
    [
        Community(b"another"),
        ["-v1", "-c", "another"],
        replace(V3, user="nobody"),
        replace(V3, auth_secret=b"not the secret"),
        replace(V3, privacy_secret=b"not the secret"),
        no_auth(V3),
        replace(V3, privacy="none"),  # less than was agreed
        no_auth(AUTH_ONLY),
    ],
    ids=["community", "v1", "user", "auth secret", "privacy secret", "noAuth", "no privacy", "noAuth for auth"],
)
@pytest.mark.parametrize("program", ["snmptrap", "snmpinform"])
def test_wrong_credentials_are_counted_and_not_obeyed(
    program: str, how: Access | list[str], caplog: pytest.LogCaptureFixture
) -> None:
    async def work() -> None:
        async with ear(ACCESSES, **UNITS) as heard:
            version_1 = isinstance(how, list) and "-v1" in how
            what: tuple[str, ...] = ON_OFF_V1 if version_1 else PORT_ON_OFF
            sender = "snmptrap" if version_1 else program  # informs are not of version 1
            code = await send(sender, heard.target, how, *what, source="127.0.0.5", patient=False)
            await heard.until(1)
            assert set(heard.fates) == {Fate.REFUSED}
            assert heard.hints == []
            assert version_1 or code == (1 if program == "snmpinform" else 0)

    asyncio.run(work())
    assert not any(secret.decode() in caplog.text for secret in SECRETS)


def test_where_no_access_is_of_a_kind_all_of_that_kind_are_refused() -> None:
    async def work() -> None:
        async with ear({"v2": COMMUNITY}, **UNITS) as heard:
            await send("snmptrap", heard.target, V3, *PORT_ON_OFF, source="127.0.0.5")
            await send("snmpinform", heard.target, V3, *PORT_ON_OFF, source="127.0.0.5", patient=False)
            await heard.until(2)
            assert set(heard.fates) == {Fate.REFUSED}
        async with ear({"v3": V3}, **UNITS) as heard:
            await send("snmptrap", heard.target, COMMUNITY, *PORT_ON_OFF, source="127.0.0.5")
            await heard.until(1)
            assert set(heard.fates) == {Fate.REFUSED}

    asyncio.run(work())


async def captured(access: Access | list[str], *what: str) -> bytes:
    """Return the datagram that snmptrap sends."""
    loop = asyncio.get_running_loop()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        sock.setblocking(False)
        address = f"udp:127.0.0.1:{sock.getsockname()[1]}"
        assert await send("snmptrap", address, access, *what) == 0
        async with asyncio.timeout(30):
            return await loop.sock_recv(sock, 65_535)


def digest(heard: Ear, datagram: bytes, source: str = "127.0.0.5") -> None:
    """Hand a datagram to the listener as its transport does, past the bound on how many may come."""
    bucket = heard.listener._gate
    bucket._all.left = bucket._all.burst
    for one in bucket._of_host.values():
        one.left = one.burst
    transport = heard.listener._engine.transport_dispatcher._AbstractTransportDispatcher__transports  # type: ignore[union-attr]
    next(iter(transport.values())).datagram_received(datagram, (source, 50_000))


def test_a_thousand_mutated_datagrams_raise_nothing_and_leave_nothing() -> None:
    """SNMPv3 under a digest: a changed one is refused, or is one whose change lies outside what is looked at."""

    async def work() -> None:
        dice = random.Random(20_260_302)
        whole = [
            await captured(COMMUNITY, *PORT_ON_OFF),
            await captured(V1, *ON_OFF_V1),
            await captured(V3, *PORT_ON_OFF),
            await captured(AUTH_ONLY, *PORT_ON_OFF),
        ]
        async with ear(ACCESSES, **UNITS) as heard:
            for datagram in whole:
                digest(heard, datagram)
            assert heard.fates == {Fate.TAKEN: len(whole)}
            for turn in range(1000):
                digest(heard, mutated(whole[turn % len(whole)], dice))
            assert heard.fates[Fate.MALFORMED] > 200
            assert heard.fates[Fate.REFUSED] > 50
            assert {hint.units for hint in heard.hints} == {("pier",)}
            for datagram in whole:  # it still hears
                digest(heard, datagram)
            assert [hint.words for hint in heard.hints[-len(whole) :]] == [WORDS] * len(whole)
            engine = heard.listener._engine
            assert engine is not None
            assert all(not model._cache._Cache__cache_entries for model in engine.security_models.values())

    asyncio.run(work())


def test_engines_without_end_do_not_fill_the_memory() -> None:
    """Anybody can send from a unit's address with engine ids made up: nothing is kept of them."""

    async def work() -> None:
        async with ear(ACCESSES, **UNITS) as heard:
            datagram = await captured(V3, *PORT_ON_OFF)
            at = datagram.index(bytes.fromhex("80001f88"))  # the engine id that net-snmp makes (RFC 3411)
            counts = []
            for number in range(300):
                digest(heard, datagram[: at + 6] + number.to_bytes(2, "big") + datagram[at + 8 :])
                if number % 100 == 99:
                    gc.collect()
                    counts.append(len(gc.get_objects()))
            assert heard.fates == {Fate.REFUSED: 300}
            assert counts[2] - counts[1] < 50, counts
            digest(heard, datagram)
            assert heard.fates[Fate.TAKEN] == 1

    asyncio.run(work())


def test_a_flood_is_bounded_and_what_was_dropped_is_counted() -> None:
    async def work() -> None:
        datagram = await captured(COMMUNITY, *PORT_ON_OFF)
        async with ear(ACCESSES, **UNITS) as heard:
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
                sock.bind(("127.0.0.5", 0))
                for _ in range(50):
                    for _ in range(20):
                        sock.sendto(datagram, ("127.0.0.1", heard.listener.port))
                    await asyncio.sleep(0.001)
            await heard.until(500)  # the machine's own buffer may drop some before us
            assert set(heard.fates) == {Fate.TAKEN, Fate.DROPPED}
            assert heard.fates[Fate.TAKEN] == len(heard.hints) < 150
            assert await send("snmpinform", heard.target, COMMUNITY, *PORT_ON_OFF, source="127.0.0.6") == 0
            assert heard.hints[-1].units == ("quay",)

    asyncio.run(work())


def test_many_notifications_leave_no_objects_behind() -> None:
    async def work() -> None:
        datagrams = [await captured(V3, *PORT_ON_OFF), await captured(V1, *ON_OFF_V1)]
        async with ear(ACCESSES, **UNITS) as heard:
            counts = []
            for _ in range(3):
                for turn in range(200):
                    digest(heard, datagrams[turn % 2])
                heard.hints.clear()
                gc.collect()
                counts.append(len(gc.get_objects()))
            assert counts[2] - counts[1] < 200, counts  # less than one object a notification

    asyncio.run(work())
