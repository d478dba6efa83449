"""A file with errors of several kinds is told of all of them at once, and of nothing that only follows from one."""

from __future__ import annotations

import pytest

from portdraw.plan.loader import parse_site
from portdraw.plan.plan_error import PlanError

TEXT = """\
format: 1
site: {name: Skarholm slip}
incomers: {town-supply: {rating_a: 63}}
panels: {P1: {fed_from: town-supply}}
circuits:
  slip-1: {panel: P1, breaker: "1", rating_a: 16}
  slip-2: {panel: P1, breaker: "2", rating_a: 16}
units:
  core:
    supplies: [{from: slip-1}]
    pse: {budget_w: 100, ports: 4}
    ports:
      1: {device: cam-1, class: 3}
      2: {device: cam-2, class: 3}
  slip:
    supplies: [{from: slip-2}]
    pse: {budget_w: 60, ports: 2}
    ports:
      1: {device: cam-3, class: 3}
"""


def told(*changes: tuple[str, str]) -> list[str]:
    text = TEXT
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    with pytest.raises(PlanError) as refused:
        parse_site(text)
    return [f"{problem.path}: {problem.sentence}" for problem in refused.value.problems]


def test_three_kinds_of_mistakes_in_one_go() -> None:
    assert told(
        ('breaker: "1", rating_a: 16', 'breaker: "1", rating_a: ten'),
        ("{from: slip-2}", "{from: slip-3}"),
        ("1: {device: cam-3", "7: {device: cam-3"),
    ) == [
        "circuits.slip-1.rating_a: must be a number, is 'ten'",
        "units.slip.supplies[1].from: no circuit or UPS is named 'slip-3'; did you mean 'slip-2'?",
        "units.slip.ports.7: is not one of the unit's 2 ports (pse.ports)",
    ]


@pytest.mark.parametrize(
    ("change", "only"),
    [
        (('breaker: "1", rating_a: 16', 'breaker: "1"'), "circuits.slip-1: needs the key 'rating_a'"),
        (("P1: {fed_from: town-supply}", "P1: {fed_from: [a]}"), "panels.P1.fed_from: must be a text"),
        (
            ("budget_w: 100, ports: 4", "budget_w: 100, ports: four"),
            "units.core.pse.ports: must be a whole number, is 'four'",
        ),
        (
            ("town-supply: {rating_a: 63}", "town-supply: {rating_a: 0}"),
            "incomers.town-supply.rating_a: must be more than 0, is 0",
        ),
        (("1: {device: cam-1, class: 3}", "1: {device: cam-1, class: x}"), None),
    ],
)
def test_what_only_follows_is_not_told(change: tuple[str, str], only: str | None) -> None:
    found = told(change)
    assert len(found) == 1
    assert only is None or found == [only]


def test_where_too_little_is_left_the_types_are_told_alone() -> None:
    assert told(("{name: Skarholm slip}", "{}"), ("{from: slip-2}", "{from: slip-3}")) == [
        "site: needs the key 'name'"
    ]
