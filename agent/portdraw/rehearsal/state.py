"""What runs in the emulated site: units and their ports, with all that changes from one moment to the next."""

from __future__ import annotations

from dataclasses import dataclass, field

from portdraw.plan.site import Fed, Pse, Unit
from portdraw.rehearsal import class_power
from portdraw.rehearsal.class_power import Signature
from portdraw.rehearsal.load import Creep, Load

STANDBY_W = 1.3  # of a held spare feed, at the PD input, where the site file does not say; common practice
LONG_AGO_S = -1e12
NEVER = float("inf")

PASSES_ALL = Pse(budget_w=1_000_000, ports=1, class_max=8, admission="drawn")  # an extender that declares no PSE


@dataclass(slots=True)
class PortState:
    """A PSE port and what hangs on it. Watts are at the PSE output unless the name says `pd`.

    `on`: it gives power. `latched`: shed, off until the unit or its PoE controller restarts; `faulty`: overloaded,
    likewise. `broken`: the port or its cable has failed. `arrival` counts the ports of a site as they come on.
    """

    key: str
    group: int
    number: int
    if_index: int
    label: str
    rank: int
    limit_w: float
    ohm: float
    four_pairs: bool
    planned_off: bool
    start_delay_s: float
    load: Load | None
    feeds: str | None
    feed_input: int
    feed_signature: Signature
    feed_min_v: float | None
    noise_key: int
    creep: Creep | None = None
    visitor: bool = False  # what hangs on it was never planned
    on: bool = False
    latched: bool = False
    faulty: bool = False
    broken: set[str] = field(default_factory=set)
    granted: Signature | None = None
    lldp_pd_w: float | None = None  # what LLDP allocated at the PD while the feed was spare
    lldp_until_s: float = NEVER
    ask_s: float = NEVER
    first_ask_s: float = NEVER
    refused: bool = False  # asked at least once in vain since it last came on
    since_s: float = LONG_AGO_S
    arrival: int = 0
    device_w: float = 0.0  # what the device would take now, at its PD input
    at_v: float = 0.0
    draw_w: float = 0.0
    pd_w: float = 0.0
    lost_w: float = 0.0
    pd_v: float = 0.0
    no_point: bool = False  # no current carries the load
    denied: int = 0
    overloads: int = 0
    mps_absent: int = 0

    @property
    def place(self) -> tuple[int, int]:
        """Where the port stands among its neighbours."""
        return self.group, self.number

    @property
    def usable(self) -> bool:
        """True where the port may give power to what hangs on it."""
        return not (self.planned_off or self.latched or self.faulty or self.broken)

    @property
    def state(self) -> str:
        """Detection status in the words of RFC 3621."""
        if self.planned_off:
            return "disabled"
        if self.faulty:
            return "other fault"
        return "delivering" if self.on and self.draw_w > 0 else "searching"

    @property
    def signature(self) -> Signature:
        """Class that what hangs on the port asks for."""
        return self.feed_signature if self.load is None else self.load.signature

    @property
    def told_class(self) -> int:
        """Class as a single number: what was granted, else what is asked; two signatures count as class 5."""
        signature = self.signature if self.granted is None else self.granted
        return signature if isinstance(signature, int) else 5

    @property
    def min_v(self) -> float:
        """Volts below which what hangs on the port shuts down."""
        declared = self.feed_min_v if self.load is None else self.load.min_v
        return class_power.least_v(self.signature) if declared is None else declared

    def switch_off(self) -> None:
        """Take the power off, whatever comes next."""
        self.on = False
        self.granted = None
        self.draw_w = self.pd_w = self.lost_w = self.pd_v = self.at_v = 0.0
        self.no_point = False
        self.ask_s = self.first_ask_s = NEVER
        self.refused = False


@dataclass(slots=True)
class UnitState:
    """A unit as it runs. `leg` is "ac", "feed", "both" or "none"; `carrying` are the inputs whose feeds carry.

    `port_v` are the volts that it makes itself, `live_v` those at its ports now. `input_w` is what it takes at each
    of its PoE inputs. Watts are at the PSE outputs unless said otherwise.
    """

    name: str
    plan: Unit
    ports: dict[str, PortState]
    port_v: float
    own_use_w: float
    feeders: tuple[tuple[str, str], ...]
    leg: str = "none"
    carrying: tuple[int, ...] = ()
    failed: bool = False
    lost_modules: set[int] = field(default_factory=set)
    powered_since_s: float = LONG_AGO_S
    ready_s: float = LONG_AGO_S  # when its ports begin to work
    boots: int = 1
    live_v: float = 0.0
    budget_w: float = 0.0
    outputs_w: float = 0.0
    booked_w: float = 0.0
    wanted_w: float = 0.0  # outputs before anything was shed in this step
    wanted_feeder_w: float = 0.0  # at the feeder's port, likewise
    ac_w: float = 0.0
    module_w: tuple[float, ...] = ()  # at AC, by supply module
    input_w: list[float] = field(default_factory=list)
    path: tuple[str, ...] = field(default=())  # units that its data passes

    @property
    def powered(self) -> bool:
        """True while any leg carries the unit."""
        return self.leg != "none"

    @property
    def feeder(self) -> tuple[str, str] | None:
        """The unit and port of its first feed, None without one."""
        return self.feeders[0] if self.feeders else None

    @property
    def pse(self) -> Pse:
        """How it gives power; an extender that says nothing of it passes on all that it gets."""
        return PASSES_ALL if self.plan.pse is None else self.plan.pse

    @property
    def fed(self) -> Fed:
        """How it takes a feed."""
        return Fed() if self.plan.fed is None else self.plan.fed

    @property
    def boosted(self) -> bool:
        """True where its ports keep their volts while a feed carries it."""
        return self.fed.output == "boosted"

    @property
    def standby_w(self) -> float:
        """Watts at the PD input that hold a spare feed."""
        return STANDBY_W if self.fed.standby_w is None else self.fed.standby_w
