"""What is true in the emulated site at one moment: for tests to hold the readings against, never for the agents."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class UnitTruth:
    """One unit. Port watts, outputs and budgets at the PSE output; `feed_pd_w` at its PD input; `ac_w` at AC.

    `leg` is "ac", "feed" or "none"; `source` is what LLDP would truthfully say: "both", "pse", "local", "none".
    `wanted_*` are the watts asked before anything was shed in the step.
    """

    name: str
    powered: bool
    answers: bool
    leg: str
    source: str
    port_w: dict[str, float]
    port_state: dict[str, str]
    denied: dict[str, int]
    shed: tuple[str, ...]
    outputs_w: float
    wanted_w: float
    budget_w: float
    ac_w: float
    feed_pd_w: float
    feed_v: float
    feed_lost_w: float
    feeder_w: float
    wanted_feeder_w: float


@dataclass(frozen=True)
class SiteTruth:
    """The whole site at `time_s`. Balance: given_w = devices_w + cables_w + own_use_w + conversion_w."""

    time_s: float
    night: bool
    temperature_c: float
    lost_circuits: frozenset[str]
    units: dict[str, UnitTruth]
    dark_devices: tuple[str, ...]
    given_w: float
    devices_w: float
    cables_w: float
    own_use_w: float
    conversion_w: float
