"""Starting, asking and stopping the emulated site."""

from __future__ import annotations

import asyncio
import socket

import pytest
from tests.rehearsal.terminal import NOON_S, terminal

from portdraw.rehearsal.credentials import Credentials
from portdraw.rehearsal.emulated_site import EmulatedSite


def test_asking_for_the_past_disturbs_nothing() -> None:
    emulated = EmulatedSite(terminal(), lambda: NOON_S + 900, NOON_S, 3)
    present = emulated.truth()
    assert emulated.truth(NOON_S + 300).units["north-pier"].leg == "feed"
    assert emulated.truth() == present
    assert emulated.truth(NOON_S + 900) == present


def test_agents_sit_on_loopback_and_let_go_of_their_ports() -> None:
    async def scene() -> dict[str, str]:
        emulated = EmulatedSite(terminal(), lambda: NOON_S, NOON_S, 3)
        addresses = await emulated.start()
        emulated.stop()
        emulated.stop()
        await asyncio.sleep(0.05)
        return addresses

    addresses = asyncio.run(scene())
    assert len(set(addresses.values())) == len(addresses) == len(terminal().units)
    for address in addresses.values():
        host, _, port = address.partition(":")
        assert host == "127.0.0.1"
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
            taken.bind((host, int(port)))


def test_a_port_in_use_is_an_error_and_nothing_stays_open() -> None:
    async def scene(port: int) -> None:
        emulated = EmulatedSite(terminal(), lambda: NOON_S, NOON_S, 3)
        with pytest.raises(OSError, match="in use"):
            await emulated.start({"north-pier": port})
        await asyncio.sleep(0.05)
        assert len(asyncio.all_tasks()) == 1

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as taken:
        taken.bind(("127.0.0.1", 0))
        asyncio.run(scene(taken.getsockname()[1]))


def test_secrets_are_new_each_time_and_never_printed() -> None:
    first, second = Credentials(), Credentials()
    assert len({first.community, second.community, first.auth_secret, second.auth_secret, first.priv_secret}) == 5
    assert first.community not in repr(first)
    assert first.auth_secret not in repr(first)
    assert first.priv_secret not in repr(first)
