"""The MIB objects that this program reads, as data from mibs/: OID, syntax, index, unit, scale, meaning, source."""

from __future__ import annotations

from functools import cache, cached_property
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from portdraw.datafiles.locate import data_folder
from portdraw.observation.record import Basis, Quantity
from portdraw.plan.yaml_text import load_typed, read_text
from portdraw.reading.varbind import Oid, parse_oid

IndexKind = Literal[
    "scalar",
    "group-port",
    "group",
    "port",
    "port-from-zero",
    "if-index",
    "bridge-port",
    "entity",
    "entity-alias",
    "physical",
    "ups-line",
    "lldp-port",
    "lldp-remote",
    "lldp-v2-remote",
    "lldp-remote-address",
    "lldp-v2-remote-address",
    "lldp-remote-tlv",
    "lldp-v2-remote-tlv",
]
Pace = Literal["cycle", "slow", "start", "instance", "discovery"]
Syntax = Literal[
    "integer", "gauge", "counter", "timeticks", "text", "decimal-text", "oid", "integer-or-bits2", "octets"
]

SITE_MODULE = "column of this site"
_IN_WATTS = frozenset(
    {
        *(Quantity.PORT_DRAW, Quantity.PORT_DRAW_UNCERTAINTY, Quantity.PORT_GRANTED, Quantity.PORT_REQUESTED),
        *(Quantity.PORT_PD_DRAW, Quantity.UNIT_DRAW, Quantity.UNIT_BUDGET, Quantity.SUPPLY_DRAW, Quantity.UPS_OUTPUT),
    }
)


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class MibObject(_Part):
    """One object. `scale` turns the raw value into `unit`; `values` turns enumerations
    into words, `bits` the two leading bits of a one-octet string.

    `pace`: read every cycle, every slow cycle, once at the start (and after a restart of the agent), or only while a
    site is being discovered; "instance" is read only for rows that something else has pointed out. `after`: asked
    only of agents that have rows of this object; `unless`: only of those that have none. `rare`: an agent that lacks
    it is not spoken of, nor asked again.
    `source` says where OID, syntax and unit were read; "from memory" where no text was at hand.

    Further, by the name of another object of the same index: `times` is multiplied in, `power_of_ten` is its
    exponent, `only_where` must have one of these values. `repeats` and `unless_peak` are the tell of a column that
    merely repeats the allocation: equal to the first on every port in use, while the second stays 0.
    `most` is the largest raw value that the syntax can hold; `allowed` has the least and the largest that the
    document allows. `rows_where`: a row of which another object says something else is about the other end of the
    line: it tells `of_unit`, if that is given, and otherwise nothing. `sign`: "none" refuses a negative value,
    "either" drops the sign. `system` is the beginning of the sysObjectID of the agents that are asked; empty: all.
    """

    oid: str
    index: IndexKind
    quantity: Quantity | None = None
    role: str = ""
    syntax: Syntax
    unit: str = ""
    scale: Annotated[float, Field(gt=0)] = 1.0
    offset: int = 0
    values: dict[int, str] = {}
    bits: dict[int, str] = {}
    basis: Basis | None = None
    pace: Pace = "cycle"
    times: str = ""
    power_of_ten: str = ""
    only_where: dict[str, tuple[int, ...]] = {}
    repeats: str = ""
    unless_peak: str = ""
    most: int | None = None
    allowed: tuple[int, int] | None = None
    rows_where: dict[str, tuple[int, ...]] = {}
    of_unit: Quantity | None = None
    after: str = ""
    unless: str = ""
    rare: bool = False
    sign: Literal["none", "either"] = "none"
    system: str = ""
    source: Annotated[str, Field(min_length=5)]

    @property
    def arcs(self) -> Oid:
        """The OID as a tuple, without the instance."""
        return parse_oid(self.oid)

    @cached_property
    def companions(self) -> tuple[str, ...]:
        """The objects without which a value of this one means nothing."""
        return tuple(name for name in (self.times, self.power_of_ten, *self.only_where) if name)

    @cached_property
    def tells(self) -> tuple[Quantity, ...]:
        """The quantities of which rows of this object speak."""
        return tuple(quantity for quantity in (self.quantity, self.of_unit) if quantity is not None)

    def is_for(self, system_object_id: Oid | None) -> bool:
        """True where an agent with this sysObjectID (None: it tells none) is asked for the object."""
        if not self.system or system_object_id is None:
            return not self.system
        prefix = parse_oid(self.system)
        return system_object_id[: len(prefix)] == prefix

    @model_validator(mode="after")
    def _whole(self) -> MibObject:
        parse_oid(self.oid)
        if self.system:
            parse_oid(self.system)
        if self.quantity is None and not self.role:
            raise ValueError("an object needs a quantity or a role")
        if self.unit == "W" and self.basis is None:
            raise ValueError("watts need a basis")
        if (self.quantity in _IN_WATTS) != (self.unit == "W"):
            raise ValueError("a quantity in watts, and no other, has the unit W")
        if self.syntax == "integer-or-bits2" and set(self.bits) != {0, 1, 2, 3}:
            raise ValueError("two bits have four values, all of them named")
        return self


class MibNotification(_Part):
    """One notification. `words` say what it is about; it is never taken for a fact.

    `reads`: what its sender is asked for anew: what is read every cycle, what is read slowly too, or nothing.
    """

    oid: str
    words: Annotated[str, Field(min_length=3)]
    reads: Literal["cycle", "slow", "nothing"] = "cycle"
    source: Annotated[str, Field(min_length=5)]

    @field_validator("oid")
    @classmethod
    def _is_oid(cls, value: str) -> str:
        parse_oid(value)
        return value


class MibModule(_Part):
    """One file of mibs/: a module, and by which document; `enterprise` for a private one."""

    module: str
    document: str
    enterprise: int | None = None
    objects: dict[str, MibObject] = {}
    notifications: dict[str, MibNotification] = {}


class Catalogue:
    """All objects by name; names are unique over the files of mibs/."""

    def __init__(self, modules: list[MibModule]) -> None:
        self.modules = tuple(modules)
        self.objects: dict[str, MibObject] = {}
        self.module_of: dict[str, MibModule] = {}
        self.notifications: dict[Oid, MibNotification] = {}
        for module in modules:
            self.notifications |= {parse_oid(entry.oid): entry for entry in module.notifications.values()}
            for name, entry in module.objects.items():
                if name in self.objects:
                    raise ValueError(f"mibs: the object {name} stands in two files")
                self.objects[name] = entry
                self.module_of[name] = module
        for name, entry in self.objects.items():
            for other in (*entry.companions, *entry.rows_where, entry.repeats, entry.unless_peak):
                if other and (other not in self.objects or self.objects[other].index != entry.index):
                    raise ValueError(f"mibs: {name} needs {other}, which is not there or has another index")
            for other in (entry.after, entry.unless):
                if other and other not in self.objects:
                    raise ValueError(f"mibs: {name} hangs on {other}, which is not there")

    def with_site_columns(self, columns: dict[str, MibObject]) -> Catalogue:
        """Return this catalogue with columns of a site's own: after the standard ones, before the private ones.

        Raises ValueError where a name is taken.
        """
        if not columns:
            return self
        own = MibModule(module=SITE_MODULE, document="the settings of this site", objects=columns)
        private = next((at for at, module in enumerate(self.modules) if module.enterprise), len(self.modules))
        return Catalogue([*self.modules[:private], own, *self.modules[private:]])

    def of(self, quantity: Quantity) -> list[tuple[str, MibObject]]:
        """Return the objects that tell a quantity, best first (order of the files' names, then of the rows)."""
        return [(name, entry) for name, entry in self.objects.items() if entry.quantity is quantity]

    def role(self, role: str) -> tuple[str, MibObject]:
        """Return the one object of a role, such as "interface name"."""
        return next((name, entry) for name, entry in self.objects.items() if entry.role == role)

    def roles(self, role: str) -> list[tuple[str, MibObject]]:
        """Return all objects of a role, best first: the same may be told at two roots."""
        return [(name, entry) for name, entry in self.objects.items() if entry.role == role]

    def notification(self, oid: Oid) -> MibNotification | None:
        """Return what a notification is, None where it is not listed.

        One that came by SNMP v1 has a zero before its last arc (RFC 3584, 3.1), which its own OID need not have.
        """
        found = self.notifications.get(oid)
        return self.notifications.get((*oid[:-2], *oid[-1:])) if found is None and oid[-2:-1] == (0,) else found

    def source_text(self, name: str) -> str:
        """Return module and object for people: "POWER-ETHERNET-MIB pethPsePortDetectionStatus"."""
        module = self.module_of[name]
        return f"{module.module} {name.partition('@')[0]}"


@cache
def standard_catalogue() -> Catalogue:
    """Return the catalogue of the shipped mibs/. Raises PlanError where a file is damaged."""
    return load_catalogue(data_folder("mibs"))


def load_catalogue(folder: Path) -> Catalogue:
    """Return the catalogue of a folder of YAML files, read in the order of their names."""
    paths = sorted(folder.glob("*.yaml"))
    return Catalogue([load_typed(read_text(path), path.name, MibModule) for path in paths])
