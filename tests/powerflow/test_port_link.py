"""One port and its cable: classes, what is assumed, and refusals in words."""

from __future__ import annotations

from typing import Any

import pytest
from tests.powerflow.balance import port_watts
from tests.powerflow.sites import device, site, unit

from portdraw.plan.class_grant import class_watts_at_pd
from portdraw.plan.load_case import Case
from portdraw.plan.tree import Tree
from portdraw.powerflow.planned_device import planned_device_w
from portdraw.powerflow.port_link import class_pse_w, granted_class, port_link
from portdraw.powerflow.port_power import class_limit_w, planned_port_w, port_class


def one_port(port: dict[str, Any], **pse: Any) -> Any:
    """A site of one switch with one port."""
    whole = {"budget_w": 90, "voltage_v": 54, "ports": 8, "class_max": 8, **pse}
    return site({"top": unit("main", {"1": port}, fed=None, pse=whole)})


def test_class_watts_at_both_ends() -> None:
    # IEEE 802.3-2022 clauses 33 and 145; a core that books by the clause 33 table takes 7.0 W for class 2
    assert [class_limit_w(number) for number in range(9)] == [15.4, 4, 7, 15.4, 30, 45, 60, 75, 90]
    assert class_limit_w(None) is None
    assert (class_pse_w((3, 3)), class_watts_at_pd((5, 5))) == (28.0, 71.2)


@pytest.mark.parametrize(
    ("wanted", "class_max", "granted"),
    [
        (8, 8, 8),
        (8, 7, 6),
        (7, 6, 6),
        (8, 5, 4),
        (6, 5, 4),
        (5, 4, 4),
        (4, 3, 3),
        (3, 4, 3),
        (0, 8, 0),
        (3, 2, 3),
        (8, 2, 3),
    ],
)
def test_demotion(wanted: int, class_max: int, granted: int) -> None:
    # IEEE 802.3-2022 clause 145, from memory: 8 or 7 to 6, 6 or 5 to 4, 4 to 3. The last two are refused by the port:
    # plan says so, and their watts count all the same
    found = one_port(device("lamp", device_class=wanted), class_max=class_max)
    assert granted_class(found.units["top"], wanted) == granted
    assert port_class(found, "top", "1") == granted


def test_a_dual_signature_device_draws_over_both_pairsets() -> None:
    # two equal pairsets of one cable each carry half: the same as one load over four pairs
    dual = one_port(device("cam", 80, device_class=[3, 3], typical_w=24.0))
    single = one_port(device("cam", 80, device_class=5, typical_w=24.0))
    of_dual, of_single = (planned_device_w(found, "top", "1", Case.TYPICAL) for found in (dual, single))
    assert of_dual.pse_w == pytest.approx(of_single.pse_w)
    assert of_dual.pd_v == pytest.approx(of_single.pd_v)
    # unequal classes: each pairset on its own, in the ratio of its class watts, by bisection
    uneven = planned_device_w(
        one_port(device("cam", 80, device_class=[4, 3], typical_w=30.0)), "top", "1", Case.TYPICAL
    )
    ohm = 0.0938 * 80 * 1.09825 + 0.2
    assert uneven.pse_w == pytest.approx(
        port_watts(30 * 25.5 / 38.5, 54, ohm) + port_watts(30 * 13 / 38.5, 54, ohm), abs=1e-6
    )


@pytest.mark.parametrize(
    ("port", "pse", "reason"),
    [
        ({"typical_w": 95, "device_class": 4, "length_m": 300}, {}, "no operating point"),
        ({"typical_w": 25.5, "device_class": 4, "min_v": 50}, {}, "48.5 V at the device, below its minimum of 50 V"),
        ({"typical_w": 25.5, "device_class": 4, "min_v": 40}, {"class_max": 3}, "is more than its pairs may carry"),
        ({"typical_w": 16.5, "device_class": 3}, {"voltage_v": 57}, "above its class of 15.4 W"),
    ],
)
def test_refusals_in_words(port: dict[str, Any], pse: dict[str, Any], reason: str) -> None:
    length_m = port.pop("length_m", 100)
    found = planned_device_w(one_port(device("lamp", length_m, **port), **pse), "top", "1", Case.TYPICAL)
    assert found.reason is not None
    assert reason in found.reason
    assert found.reason.startswith("top port 1: ")
    assert (found.pse_w is None) is (reason == "no operating point")


def test_a_load_above_class_at_the_device_but_not_at_the_port_is_powered() -> None:
    # 13.5 W is above class 3 at the device (12.95 W) and 13.9 W at the port below its 15.4 W
    found = planned_device_w(one_port(device("cam", 60, typical_w=13.5)), "top", "1", Case.TYPICAL)
    assert found.reason is None


def test_what_is_not_declared_is_taken_to_the_worse_side_and_named() -> None:
    bare = one_port({"device": "cam", "type": "camera", "cable": {"type": "cat6", "length_m": 50}}, voltage_v=None)
    link = port_link(bare, "top", "1")
    # 1.6 times copper (from memory), 45 C with 15 K of rise (TSB-184-A, from memory), 52 V of a Type 4 port
    assert link.pairset_ohm[0] == pytest.approx(9.38 * 0.5 * 1.1572 * 1.6 + 0.2)
    assert link.source_v == 52.0
    said = " | ".join(link.assumed)
    for word in ("voltage_v", "conductor", "ambient_c", "rise_k"):
        assert f"{word} is not declared" in said
    declared = port_link(one_port(device("cam", 50)), "top", "1")
    assert declared.assumed == ()
    assert link.carry(10).pse_w > declared.carry(10).pse_w  # type: ignore[operator]
    no_cable = port_link(one_port({"device": "cam", "type": "camera"}), "top", "1")
    assert no_cable.pairset_ohm == (12.5,)  # the longest channel of IEEE 802.3, Type 4
    assert "cable is not declared" in no_cable.assumed[0]


def test_ports_with_nothing_to_count() -> None:
    found = site({"top": unit("main", {"1": {}, "2": device("cam", off=True), "3": {"device": "thing"}})})
    tree = Tree(found)
    assert planned_port_w(found, tree, "top", "1", Case.NIGHT).pse_w == 0.0
    assert planned_port_w(found, tree, "top", "2", Case.NIGHT).pse_w == 0.0
    unknown = planned_port_w(found, tree, "top", "3", Case.NIGHT)
    assert unknown.pse_w is None
    assert unknown.reason == "top port 3: neither watts nor a class are declared"


def test_a_changed_copy_of_a_site_has_links_of_its_own() -> None:
    # links are kept by the site itself; a copy shares everything but what was changed in it
    before = one_port(device("lamp", device_class=3))
    top = before.units["top"]
    assert port_link(before, "top", "1").source_v == 54
    lower = top.model_copy(update={"pse": top.pse.model_copy(update={"voltage_v": 50})})
    after = before.model_copy(update={"units": {"top": lower}})
    assert port_link(after, "top", "1").source_v == 50
    assert port_link(before, "top", "1").source_v == 54
    assert port_link(before, "top", "1") is port_link(before, "top", "1")
