"""What would mend a failure if only the file said it: fields that are undeclared, so that the worse is counted.

Undeclared fields are set to their best values; of those that improve nothing, none is named.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass

from portdraw.plan.site import Fed, Site, Unit
from portdraw.powerflow.network import Network
from portdraw.powerflow.site_change import SiteChange, with_unit
from portdraw.powerflow.two_legs import fed_of

FED = ("fed",)
OTHERS = ("pse", "")
ALL = (*FED, *OTHERS)
"""Groups of fields: how a unit takes its feed, and the rest; "" is the unit itself."""

_MOST_UNITS = 4  # of more no unit is left out: each time the whole site is worked out anew
_NAMED = 6
_BEST: dict[str, dict[str, str | float]] = {
    "fed": {"on_transfer": "sheds-in-time", "prefers": "ac", "output": "boosted", "spare_feed": "held"},
    "pse": {"admission": "drawn"},
    "": {"own_use_w": 0.0},
}
"""Best value of each field, by the group of the unit that it stands in."""

Score = tuple[int, int, int]
"""How bad a site stands after a failure: 0 where it keeps its promise, more where not; devices dark; that may be."""


@dataclass(frozen=True, slots=True)
class _Field:
    unit: str
    group: str
    name: str

    @property
    def best(self) -> str | float:
        return _BEST[self.group][self.name]


def declaration(
    network: Network, touched: Iterable[int], groups: Collection[str], before: Score, score: Callable[[Site], Score]
) -> SiteChange | None:
    """The fewest fields of some groups whose best values do the most; None where nothing undeclared matters.

    `touched` are the units that the failure touches. `score` says how bad a site stands then, `before` how it is now.
    One field is tried at every unit first, then all fields, less those that change nothing: a best value for one
    failure may be the worse beside another's.
    """
    site = network.site
    order = {name: place for place, name in enumerate(site.units)}
    in_order = sorted(touched, key=lambda at: order[network.units[at].name])
    fields = [field for at in in_order for field in _undeclared(network, at) if field.group in groups]
    if not fields:
        return None
    kinds = [(group, name) for group in _BEST for name in _BEST[group]]
    alone = [[field for field in fields if (field.group, field.name) == kind] for kind in kinds]
    tried = [(score(_declared(site, some)), some) for some in alone if some]
    best, chosen = min(tried, key=lambda one: one[0])
    if best[0] and len(tried) > 1:
        of_all = score(_declared(site, fields))
        if of_all < best:
            best, chosen = of_all, fields
            for kind in reversed(kinds):
                left = [field for field in chosen if (field.group, field.name) != kind]
                chosen = left if left and score(_declared(site, left)) <= best else chosen
    if best >= before:
        return None
    units = list(dict.fromkeys(field.unit for field in chosen))
    for unit in reversed(units if 1 < len(units) <= _MOST_UNITS else ()):
        left = [field for field in chosen if field.unit != unit]
        chosen = left if left and score(_declared(site, left)) <= best else chosen
    return SiteChange(_declared(site, chosen), chosen[0].unit, (_words(chosen),), (_note(chosen),))


def _undeclared(network: Network, at: int) -> Iterator[_Field]:
    made = network.units[at]
    unit = made.unit
    if made.feeds:
        fed = fed_of(unit)
        of_feed = ("on_transfer", "prefers", "output", "spare_feed") if unit.supplies else ("output",)
        yield from (_Field(made.name, "fed", name) for name in of_feed if getattr(fed, name) == "unknown")
    if unit.pse is not None and "admission" not in unit.pse.model_fields_set:
        yield _Field(made.name, "pse", "admission")
    if unit.own_use_w is None:
        yield _Field(made.name, "", "own_use_w")


def _declared(site: Site, fields: Iterable[_Field]) -> Site:
    for field in fields:
        site = with_unit(site, field.unit, _with(site.units[field.unit], field))
    return site


def _with(unit: Unit, field: _Field) -> Unit:
    update = {field.name: field.best}
    if field.group == "fed":
        return unit.model_copy(update={"fed": (unit.fed or Fed()).model_copy(update=update)})
    if field.group == "pse":
        assert unit.pse is not None
        return unit.model_copy(update={"pse": unit.pse.model_copy(update=update)})
    return unit.model_copy(update=update)


def _words(fields: Iterable[_Field]) -> str:
    """Return "declare `fed` of gate, pier: on_transfer, prefers; `pse` of gate: admission"."""
    by_place: dict[tuple[str, str], list[str]] = {}
    for field in fields:
        by_place.setdefault((field.unit, field.group), []).append(field.name)
    alike: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for (unit, group), names in by_place.items():
        alike.setdefault((group, tuple(names)), []).append(unit)
    said = []
    for (group, found), units in alike.items():
        of_units = ", ".join(units[:_NAMED]) + (f" and {len(units) - _NAMED} more" if len(units) > _NAMED else "")
        listed = ", ".join(found)
        said.append(f"`{group}` of {of_units}: {listed}" if group else f"{listed} of {of_units}")
    return f"declare {'; '.join(said)}"


def _note(fields: Iterable[_Field]) -> str:
    once = dict.fromkeys(f"{field.name} {_best_words(field.best)}" for field in fields)
    return (
        f"Not declared, so the worse is counted. Worked out with {', '.join(once)}: it holds only if the data sheet, "
        "or a test, says so."
    )


def _best_words(best: str | float) -> str:
    return best if isinstance(best, str) else f"{best:g}"
