"""The MIB objects that this program reads, as data from mibs/: OID, syntax, index, unit, scale, meaning, source."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from portdraw.datafiles.locate import data_folder
from portdraw.observation.record import Basis, Quantity
from portdraw.plan.yaml_text import load_typed, read_text
from portdraw.reading.varbind import Oid, parse_oid

IndexKind = Literal[
    "scalar",
    "group-port",
    "group",
    "port",
    "if-index",
    "lldp-port",
    "lldp-remote",
    "lldp-v2-remote",
]
Pace = Literal["cycle", "slow", "start"]

_IN_WATTS = frozenset({Quantity.PORT_DRAW, Quantity.PORT_GRANTED, Quantity.UNIT_DRAW, Quantity.UNIT_BUDGET})


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class MibObject(_Part):
    """One object. `scale` turns the raw value into `unit`; `values` turns enumerations
    into words, `bits` the two leading bits of a one-octet string.

    `pace`: read every cycle, every slow cycle, or once at the start (and after a restart of the agent).
    `source` says where OID, syntax and unit were read; "from memory" where no text was at hand.
    """

    oid: str
    index: IndexKind
    quantity: Quantity | None = None
    role: str = ""
    syntax: Literal["integer", "gauge", "counter", "timeticks", "text", "oid", "integer-or-bits2"]
    unit: str = ""
    scale: Annotated[float, Field(gt=0)] = 1.0
    offset: int = 0
    values: dict[int, str] = {}
    bits: dict[int, str] = {}
    basis: Basis | None = None
    pace: Pace = "cycle"
    source: Annotated[str, Field(min_length=5)]

    @property
    def arcs(self) -> Oid:
        """The OID as a tuple, without the instance."""
        return parse_oid(self.oid)

    @model_validator(mode="after")
    def _whole(self) -> MibObject:
        parse_oid(self.oid)
        if self.quantity is None and not self.role:
            raise ValueError("an object needs a quantity or a role")
        if self.unit == "W" and self.basis is None:
            raise ValueError("watts need a basis")
        if (self.quantity in _IN_WATTS) != (self.unit == "W"):
            raise ValueError("a quantity in watts, and no other, has the unit W")
        if self.syntax == "integer-or-bits2" and set(self.bits) != {0, 1, 2, 3}:
            raise ValueError("two bits have four values, all of them named")
        return self


class MibModule(_Part):
    """One file of mibs/: a module, and by which document; `enterprise` for a private one."""

    module: str
    document: str
    enterprise: int | None = None
    objects: dict[str, MibObject]


class Catalogue:
    """All objects by name; names are unique over the files of mibs/."""

    def __init__(self, modules: list[MibModule]) -> None:
        self.modules = tuple(modules)
        self.objects: dict[str, MibObject] = {}
        self.module_of: dict[str, MibModule] = {}
        for module in modules:
            for name, entry in module.objects.items():
                if name in self.objects:
                    raise ValueError(f"mibs: the object {name} stands in two files")
                self.objects[name] = entry
                self.module_of[name] = module

    def of(self, quantity: Quantity) -> list[tuple[str, MibObject]]:
        """Return the objects that tell a quantity, best first (order of the files' names, then of the rows)."""
        return [(name, entry) for name, entry in self.objects.items() if entry.quantity is quantity]

    def role(self, role: str) -> tuple[str, MibObject]:
        """Return the one object of a role, such as "interface name"."""
        return next((name, entry) for name, entry in self.objects.items() if entry.role == role)

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
