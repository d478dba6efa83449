"""The emulated site as one thing to start, ask and stop. Everything it tells is EMULATED."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping

from portdraw.plan.site import Site
from portdraw.rehearsal.agents import LOOPBACK, Agent
from portdraw.rehearsal.credentials import Credentials
from portdraw.rehearsal.mib_map import MibMap
from portdraw.rehearsal.physics import NOISE, Physics
from portdraw.rehearsal.story import LIVE, Story
from portdraw.rehearsal.truth import SiteTruth
from portdraw.rehearsal.unit_rows import rows_of
from portdraw.rehearsal.weather import Temperature


class EmulatedSite:
    """A site whose readable units answer SNMP on 127.0.0.1, by the clock that the caller gives.

    `now_s` is the site clock [s since the epoch], which may run faster than the wall clock; `start_s` is the story's
    zero. Raises RehearsalError for a site that can't be emulated.
    """

    def __init__(
        self,
        site: Site,
        now_s: Callable[[], float],
        start_s: float,
        seed: int,
        *,
        story: Story = LIVE,
        noise_share: float = NOISE,
        temperature: Temperature | None = None,
        credentials: Credentials | None = None,
    ):
        self.credentials = credentials or Credentials()
        self._site = site
        self._now_s = now_s
        self._start_s = start_s
        self._seed = seed
        self._story = story
        self._noise_share = noise_share
        self._temperature = temperature
        self._physics = self._fresh()
        self._agents: dict[str, Agent] = {}

    async def start(self, ports: Mapping[str, int] | None = None) -> dict[str, str]:
        """Start an agent for every readable unit; return "127.0.0.1:PORT" by unit. All are bound when it returns.

        `ports` asks for given UDP ports; all others are free ones. Raises OSError where a port can't be had.
        """
        addresses: dict[str, str] = {}
        wanted = ports or {}
        try:
            for name, unit in self._site.units.items():
                if not unit.readable:
                    continue
                mib = MibMap(rows_of(self._physics, name, self._site.site.name), self._moment)
                agent = Agent(mib, self.credentials, self._answers(name))
                addresses[name] = f"{LOOPBACK}:{await agent.start(wanted.get(name, 0))}"
                self._agents[name] = agent
                await asyncio.sleep(0)
        except BaseException:
            self.stop()
            raise
        return addresses

    def stop(self) -> None:
        """Stop all agents at once; may be called twice."""
        for agent in self._agents.values():
            agent.stop()
        self._agents.clear()

    def truth(self, time_s: float | None = None) -> SiteTruth:
        """Return what is true at a time [s since the epoch], now where none is given. For tests.

        A time before the agents' present is worked out anew from the start; it never disturbs what they tell.
        """
        if time_s is None:
            self._physics.step(self._now_s())
            return self._physics.truth()
        again = self._fresh()
        again.step(time_s)
        return again.truth()

    def _fresh(self) -> Physics:
        return Physics(
            self._site,
            self._start_s,
            self._seed,
            self._story,
            noise_share=self._noise_share,
            temperature=self._temperature,
        )

    def _moment(self) -> int:
        self._physics.step(self._now_s())
        return self._physics.serial

    def _answers(self, name: str) -> Callable[[], bool]:
        def answers() -> bool:
            self._physics.step(self._now_s())
            return self._physics.answers(name)

        return answers
