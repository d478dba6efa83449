"""What reading for a visitor's audit says meanwhile; the reading itself is tried with the agent."""

from __future__ import annotations

import asyncio
from typing import cast

import pytest

from portdraw.cli.live_audit import _run
from portdraw.service.agent import Agent


class Idle:
    """An agent that waits to be stopped."""

    async def run(self, stop: asyncio.Event) -> list[str]:
        await stop.wait()
        return []


def test_into_a_pipe_it_says_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert asyncio.run(_run(cast(Agent, Idle()), 0.06)) == []
    told = capsys.readouterr()
    assert (told.out, told.err) == ("", "reading the site for 0.001 minutes ...\n")
