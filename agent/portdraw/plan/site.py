"""The site file's shape: every field of the design budget, typed, with its unit in its name.

Values are checked here one by one; names across the file in `names`, structure in `structure`.
Absent figures stay None here: what is assumed for them is decided, and listed, where it is used.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, field_validator

from portdraw.plan import patterns

Name = Annotated[str, StringConstraints(min_length=1, max_length=80, pattern=patterns.NAME)]
Text = Annotated[str, StringConstraints(max_length=300, pattern=patterns.TEXT)]
PortKey = Annotated[str, StringConstraints(pattern=patterns.PORT_KEY)]
SnmpIndex = Annotated[str, StringConstraints(pattern=patterns.SNMP_INDEX)]
Address = Annotated[str, StringConstraints(min_length=1, max_length=255, pattern=patterns.ADDRESS)]
TimeOfDay = Annotated[str, StringConstraints(pattern=patterns.TIME_OF_DAY)]

Watts = Annotated[float, Field(ge=0, le=1_000_000)]
DeviceWatts = Annotated[
    float, Field(ge=0, le=100)
]  # a port can deliver 99.9 W at most (IEEE 802.3-2022, Table 145-16)
Percent = Annotated[float, Field(ge=0, le=100)]
Ratio = Annotated[float, Field(gt=0, le=1)]
Seconds = Annotated[float, Field(ge=0, le=86_400)]
Volts = Annotated[float, Field(gt=0, le=1000)]
PortVolts = Annotated[float, Field(ge=37, le=57)]
Celsius = Annotated[float, Field(ge=-60, le=120)]
SignatureClass = Annotated[int, Field(ge=0, le=8)]
DualClass = Annotated[int, Field(ge=1, le=5)]
Criticality = Annotated[int, Field(ge=1, le=3)]


class Part(BaseModel):
    """Base of every part of the file: unknown keys are errors, NaN and infinity too."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, str_strip_whitespace=True)


class Night(Part):
    """Local time between which devices draw their night watts; may pass midnight."""

    start: TimeOfDay = Field(alias="from")
    end: TimeOfDay = Field(alias="to")


class SiteHead(Part):
    """Name and clock of the site."""

    name: Text
    timezone: str = "UTC"
    night: Night | None = None


class UnbackedAc(Part):
    """What must survive the loss of all AC that no generator backs, and how long."""

    criticality_up_to: Criticality = 1
    minutes: Annotated[float, Field(ge=0, le=100_000)] = 0


class MustSurvive(Part):
    """What the site promises to survive."""

    any_single: Literal["all", "none"] | Criticality = "all"
    all_unbacked_ac: UnbackedAc | None = None


class Policy(Part):
    """Margins and promises of the site."""

    margin_percent: Percent = 20
    margin_after_failure_percent: Percent = 5
    proof_valid_days: Annotated[int, Field(ge=1, le=3650)] = 180
    must_survive: MustSurvive = MustSurvive()


class Incomer(Part):
    """Where the utility's supply enters the site."""

    rating_a: Annotated[float, Field(gt=0, le=10_000)]
    volts: Volts = 230


class Generator(Part):
    """A generator and the panels it carries after `start_s`."""

    rating_w: Watts
    feeds: tuple[Name, ...]
    start_s: Seconds = 30


class Panel(Part):
    """A distribution panel."""

    fed_from: Name


class Circuit(Part):
    """An AC circuit behind one breaker; its limit is rating_a x volts x continuous_percent."""

    panel: Name
    breaker: Text
    rating_a: Annotated[float, Field(gt=0, le=1000)]
    volts: Volts = 230
    continuous_percent: Annotated[float, Field(gt=0, le=100)] = 80
    other_load_w: Watts = 0
    zone: Name | None = None
    keeper: Text | None = None
    keeper_call: Text | None = None

    @property
    def limit_w(self) -> float:
        """Watts at AC that may be drawn all the time."""
        return self.rating_a * self.volts * self.continuous_percent / 100


class Ups(Part):
    """A battery-backed supply; with an address it is read like a unit."""

    input: Name
    address: Address | None = None
    access: Name = "none"
    rating_w: Watts
    battery_wh: Annotated[float, Field(ge=0, le=1_000_000)]
    health_percent: Annotated[float, Field(gt=0, le=100)] = 100
    efficiency: Ratio = 0.9
    other_load_w: Watts = 0

    @property
    def readable(self) -> bool:
        """False where the site file gives no access to it."""
        return self.access != "none" and self.address is not None


class DeviceWattsTable(Part):
    """Watts of a device at its PD input, per load case, and what it needs."""

    typical_w: DeviceWatts | None = None
    night_w: DeviceWatts | None = None
    frost_night_w: DeviceWatts | None = None
    startup_w: DeviceWatts | None = None
    startup_s: Seconds | None = None
    max_w: DeviceWatts | None = None
    min_v: PortVolts | None = None


class DeviceType(DeviceWattsTable):
    """A kind of device; class is 0 to 8, or [a, b] for a dual-signature device."""

    device_class: SignatureClass | tuple[DualClass, DualClass] = Field(alias="class")
    autoclass: bool = False


class Cable(Part):
    """The run from a port to what hangs on it."""

    type: Literal[
        "cat3", "cat5", "cat5e", "cat6", "cat6a", "cat7", "cat8", "awg22", "awg23", "awg24", "awg26", "awg28"
    ] = "cat6"
    length_m: Annotated[float, Field(ge=0, le=2000)]
    conductor: Literal["copper", "copper-clad", "unknown"] = "unknown"
    pairs: Literal[2, 4] | None = None
    ambient_c: Celsius | None = None
    rise_k: Annotated[float, Field(ge=0, le=60)] | None = None
    connectors_ohm: Annotated[float, Field(ge=0, le=20)] = 0.2
    series_ohm: Annotated[float, Field(ge=0, le=100)] = 0
    run: Literal["indoor", "outdoor", "between-buildings", "to-vessel"] = "indoor"

    @field_validator("pairs", mode="before")
    @classmethod
    def _pairs(cls, value: object) -> object:
        # scalars arrive as text, and a literal of numbers does not take text
        return int(value) if isinstance(value, str) and value.isdigit() else value


class Port(DeviceWattsTable):
    """One PSE port and what hangs on it: a device, a unit's feed (`feeds`), or nothing (a spare port)."""

    device: Name | None = None
    type: Name | None = None
    feeds: Annotated[str, StringConstraints(pattern=patterns.FEEDS, max_length=90)] | None = None
    device_class: SignatureClass | tuple[DualClass, DualClass] | None = Field(default=None, alias="class")
    priority: Literal["critical", "high", "low"] = "low"
    criticality: Criticality | None = None
    label: Text | None = None
    start_delay_s: Seconds = 0
    snmp: SnmpIndex | None = None
    off: bool = False
    autoclass: bool = False
    cable: Cable | None = None

    @property
    def feeds_unit(self) -> str | None:
        """Name of the unit that this port feeds, without the name of the input."""
        return None if self.feeds is None else self.feeds.partition("/")[0]

    @property
    def hangs(self) -> str | None:
        """Name of the device or unit on the port."""
        return self.device or self.feeds_unit


class Supply(Part):
    """A supply module: from which circuit or UPS, and how many PoE watts it can give."""

    source: Name = Field(alias="from")
    efficiency: Ratio = 0.88
    pse_share_w: Watts | None = None


class Pse(Part):
    """What a unit can give on its ports, and by which rules."""

    budget_w: Watts
    voltage_v: PortVolts | None = None
    output_efficiency: Ratio = 1.0
    ports: Annotated[int, Field(ge=1, le=1024)]
    class_max: Annotated[int, Field(ge=1, le=8)] = 4
    admission: Literal["class", "granted", "drawn"] = "class"
    admission_order: Literal["port", "priority", "arrival"] = "port"
    guard_w: Watts = 0
    shed: Literal[
        "priority-then-highest-port",
        "highest-port",
        "newest-first",
        "lowest-priority-bank",
        "refuse-newcomers",
        "all-off",
    ] = "priority-then-highest-port"
    port_limit_w: DeviceWatts | None = None


class Fed(Part):
    """How a unit takes its PoE feed."""

    prefers: Literal["ac", "feed", "higher-voltage", "shared", "unknown"] = "unknown"
    spare_feed: Literal["held", "hidden", "unknown"] = "unknown"
    standby_w: DeviceWatts | None = None
    efficiency: Ratio = 0.9
    output: Literal["boosted", "follows-input", "unknown"] = "unknown"
    on_transfer: Literal["sheds-in-time", "drops-all", "unknown"] = "unknown"
    guard_percent: Percent = 0
    budget_w: Watts | None = None


class Derate(Part):
    """The unit's budget above a temperature of its place."""

    above_c: Celsius
    budget_w: Watts


class Unit(Part):
    """A switch in the power tree."""

    place: Text = ""
    zone: Name | None = None
    address: Address | None = None
    access: Name = "none"
    data_via: Name | None = None
    own_use_w: DeviceWatts | None = None
    boot_s: Seconds | None = None
    extender: bool = False
    supplies: tuple[Supply, ...] = ()
    supply_mode: Literal["single", "combined", "n+1", "n+n"] = "combined"
    feeds_mode: Literal["main-standby", "shared"] = "main-standby"
    pse: Pse | None = None
    fed: Fed | None = None
    place_max_c: Celsius | None = None
    derate: tuple[Derate, ...] = ()
    ports: dict[PortKey, Port] = {}

    @property
    def readable(self) -> bool:
        """False for equipment without SNMP: not readable by design, never stale."""
        return self.access != "none" and self.address is not None


class Site(Part):
    """The whole site file."""

    format: Literal[1]
    site: SiteHead
    policy: Policy = Policy()
    incomers: dict[Name, Incomer] = {}
    generators: dict[Name, Generator] = {}
    panels: dict[Name, Panel] = {}
    circuits: dict[Name, Circuit] = {}
    ups: dict[Name, Ups] = {}
    device_types: dict[Name, DeviceType] = {}
    units: Annotated[dict[Name, Unit], Field(min_length=1)]

    @field_validator("format", mode="before")
    @classmethod
    def _format(cls, value: object) -> object:
        return int(value) if isinstance(value, str) and value.isdigit() else value
