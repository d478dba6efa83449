"""The days before the rehearsal, by the same physics: plain figures as each unit's agent would have told them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from portdraw.plan.site import Site
from portdraw.rehearsal.physics import NOISE, Physics
from portdraw.rehearsal.state import UnitState
from portdraw.rehearsal.story import PAST, Story, voice_of
from portdraw.rehearsal.weather import Temperature

DAY_S = 86_400.0
# Names of the objects that tell port watts, by a unit's voice.
WATT_SOURCES: dict[str, str] = {
    "802.3.1": "IEEE8023-POWER-ETHERNET-MIB::pethPsePortActualPower",
    "group.port": "CISCO-POWER-ETHERNET-EXT-MIB::cpeExtPsePortPwrConsumption",
    "ifIndex": "FOUNDRY-POE-MIB::snAgentPoePortConsumed",
}


@dataclass(frozen=True, slots=True)
class PastUnit:
    """What one unit told at one time. Watts at the PSE output.

    `port_w` is None for every port of a unit that tells totals only; `port_state` is in the words of RFC 3621
    ("delivering", "searching", "disabled", "other fault"). `power_source` is what the unit says of its own supply:
    "both", "pse", "local", or None where it has no feed or says nothing. `watt_source` names the object behind
    `port_w`, None for totals only. A unit that did not answer at that time has no row.
    """

    time_s: float
    unit: str
    port_w: dict[str, float | None]
    port_state: dict[str, str]
    total_w: int
    budget_w: int
    power_source: str | None
    watt_source: str | None


def past_rows(
    site: Site,
    start_s: float,
    seed: int,
    days: int = 14,
    every_s: float = 600.0,
    *,
    story: Story = PAST,
    noise_share: float = NOISE,
    temperature: Temperature | None = None,
) -> Iterator[PastUnit]:
    """Yield every readable unit at every step of the days before `start_s`, oldest first; `start_s` itself is not in.

    Raises RehearsalError for a site that can't be emulated.
    """
    began_s = start_s - days * DAY_S
    physics = Physics(
        site,
        start_s,
        seed,
        story,
        began_s=began_s,
        noise_share=noise_share,
        temperature=temperature,
        tick_s=every_s,
    )
    readable = [name for name, unit in site.units.items() if unit.readable]
    count = 0
    while (time_s := began_s + count * every_s) < start_s:
        physics.step(time_s)
        for name in readable:
            if physics.answers(name):
                yield _told(physics, physics.units[name], time_s)
        count += 1


def _told(physics: Physics, unit: UnitState, time_s: float) -> PastUnit:
    voice = voice_of(unit.name)
    watt_source = WATT_SOURCES.get(voice.watts)
    ports = unit.ports.values()
    says = unit.feeder is not None and voice.source != "silent"
    return PastUnit(
        time_s=time_s,
        unit=unit.name,
        port_w={port.key: None if watt_source is None else round(port.draw_w, 3) for port in ports},
        port_state={port.key: port.state for port in ports},
        total_w=round(unit.outputs_w),
        budget_w=int(unit.budget_w),
        power_source=physics.source_of(unit) if says else None,
        watt_source=watt_source,
    )
