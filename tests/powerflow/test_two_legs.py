"""A unit's two legs: supplies and their modes, derating, fed budget, standby. Worked by hand from the rules of
the site file's format."""

from __future__ import annotations

from typing import Any

import pytest
from tests.powerflow.sites import device, feed, site, unit

from portdraw.plan.site import Unit
from portdraw.plan.tree import Tree
from portdraw.powerflow.two_legs import (
    budget_on_ac_w,
    budget_on_feed_w,
    on_ac_by_supply_w,
    on_ac_w,
    on_feed_pd_w,
    standby_feeder_w,
    standby_pd_w,
)


def modules(mode: str, shares: list[float | None], budget_w: float = 1000) -> Unit:
    """A unit with supply modules."""
    return Unit.model_validate(
        {
            "own_use_w": 40,
            "supplies": [{"from": "main", "efficiency": 0.9, "pse_share_w": share} for share in shares],
            "supply_mode": mode,
            "pse": {"budget_w": budget_w, "ports": 24},
        }
    )


@pytest.mark.parametrize(
    ("mode", "shares", "live", "budget_w"),
    [
        ("combined", [220, 220], [True, True], 440),
        ("combined", [220, 220], [True, False], 220),
        ("combined", [220, 220, 220], [False, True, True], 440),
        ("n+1", [220, 220, 370], [True, True, True], 440),
        ("n+1", [220, 220, 370], [True, True, False], 440),
        ("n+1", [220, 220, 370], [False, False, True], 370),
        ("n+n", [220, 220, 220, 220], [True, True, True, True], 440),
        ("n+n", [220, 220, 220, 220], [True, True, False, False], 440),
        ("n+n", [220, 220, 220, 220], [True, False, False, False], 220),
        ("single", [220], [True], 220),
        ("combined", [220, 220], [False, False], 0),
        ("combined", [None, None], [True, False], 500),
        ("n+1", [None, None], [True, False], 1000),
        ("combined", [700, 700], [True, True], 1000),
    ],
)
def test_modules_give_by_their_mode(mode: str, shares: list[float | None], live: list[bool], budget_w: float) -> None:
    assert budget_on_ac_w(modules(mode, shares), live) == budget_w


def test_modules_share_the_load_by_their_shares() -> None:
    found = modules("combined", [300, 100])
    # (40 + 360) W of DC, three quarters and one quarter, each at 0.9
    assert on_ac_by_supply_w(found, 360) == pytest.approx((300 / 0.9, 100 / 0.9))
    assert on_ac_by_supply_w(found, 360, [False, True]) == pytest.approx((0, 400 / 0.9))
    assert on_ac_w(modules("combined", [None, None]), 360) == pytest.approx(400 / 0.9)
    with pytest.raises(ValueError, match="no live AC supply"):
        on_ac_w(found, 10, [False, False])


@pytest.mark.parametrize(("place_max_c", "budget_w"), [(None, 90), (45, 90), (50, 90), (50.1, 50), (61, 20)])
def test_heat_lowers_the_budget(place_max_c: float | None, budget_w: float) -> None:
    derate = [{"above_c": 50, "budget_w": 50}, {"above_c": 60, "budget_w": 20}]
    found = site({"top": unit("main", {}, place_max_c=place_max_c, derate=derate)})
    assert budget_on_ac_w(found.units["top"]) == budget_w


@pytest.mark.parametrize(
    ("fed", "granted_pd_w", "budget_w"),
    [
        ({}, None, (71.3 - 6) * 0.9),
        ({}, 51.0, (51 - 6) * 0.9),
        ({"guard_percent": 10}, None, (71.3 * 0.9 - 6) * 0.9),
        ({"budget_w": 30}, None, 30),
        ({}, 5.0, 0),
        ({"budget_w": 500, "efficiency": 1.0}, 200, 90),
    ],
)
def test_fed_budget(fed: dict[str, Any], granted_pd_w: float | None, budget_w: float) -> None:
    found = site(
        {
            "top": unit("main", {"1": feed("low")}, fed=None),
            "low": unit("side", {}, fed={"efficiency": 0.9, **fed}),
        }
    )
    tree = Tree(found)
    assert budget_on_feed_w(found, tree, "low", granted_pd_w) == pytest.approx(budget_w)
    assert budget_on_feed_w(found, tree, "top") == 0.0


def test_standby() -> None:
    assert standby_pd_w(Unit.model_validate({"fed": {"spare_feed": "hidden", "standby_w": 3}}), 8) == 0.0
    assert standby_pd_w(Unit.model_validate({"fed": {"spare_feed": "held", "standby_w": 3}}), 8) == 3.0
    # IEEE 802.3: the device must draw 10 mA, 16 mA from class 5; at 57 V that is 0.57 and 0.912 W
    assert standby_pd_w(Unit.model_validate({}), 4) == pytest.approx(0.57)
    assert standby_pd_w(Unit.model_validate({"fed": {"spare_feed": "held"}}), 5) == pytest.approx(0.912)


def test_on_feed() -> None:
    found = site({"top": unit("main", {"1": device("cam")})})
    assert on_feed_pd_w(found.units["top"], 46.0) == pytest.approx(6 + 46 / 0.92)
    assert standby_feeder_w(found, Tree(found), "top") is None
