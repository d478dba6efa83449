"""Each structural check: one plan that it finds fault with, one that it leaves alone."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan.samples import drawn

from portdraw.plan.finding import FindingSeverity
from portdraw.plan.site import Site
from portdraw.plan.structure import check_structure

ERROR, WARNING, NOTICE = FindingSeverity.ERROR, FindingSeverity.WARNING, FindingSeverity.NOTICE
FED = {"prefers": "ac", "spare_feed": "held", "standby_w": 1.3, "output": "boosted", "on_transfer": "sheds-in-time"}
ON_1 = [{"from": "slip-1"}]
ON_2 = [{"from": "slip-2"}]


def unit(supplies: list[dict[str, Any]], ports: dict[str, Any] | None = None, **more: Any) -> dict[str, Any]:
    pse = {"budget_w": 90, "voltage_v": 54, "ports": 8, "class_max": 8}
    return {"supplies": supplies, "pse": pse, "ports": ports or {}} | more


def feed(name: str, **more: Any) -> dict[str, Any]:
    cable = {"length_m": 60, "conductor": "copper"} | more.pop("cable", {})
    return {"feeds": name, "class": 8, "priority": "critical", "cable": cable} | more


def camera(name: str, **more: Any) -> dict[str, Any]:
    return {"device": name, "class": 3, "cable": {"length_m": 20, "conductor": "copper"}} | more


def pair(port: dict[str, Any], below: dict[str, Any] | None = None, beside: dict[str, Any] | None = None) -> Site:
    """A head unit with the port given on 2, others beside it, and the unit "slip" below."""
    ports = {"2": port} | (beside or {})
    return drawn({"head": unit(ON_1, ports), "slip": below or unit(ON_2, fed=FED)})


def of_class_max(class_max: int | None, port: dict[str, Any]) -> Site:
    """The head unit of `pair`, with what its ports can grant."""
    pse = {"budget_w": 90, "voltage_v": 54, "ports": 8} | ({} if class_max is None else {"class_max": class_max})
    below = {"slip": unit(ON_2, fed=FED)} if "feeds" in port else {}
    return drawn({"head": unit(ON_1, {"2": port}) | {"pse": pse}} | below)


def addressed(first: str, second: str) -> Site:
    return drawn({"a": unit(ON_1, address=first), "b": unit(ON_2, address=second)})


CASES: list[tuple[str, Site, Site, FindingSeverity, str, str]] = [
    (
        "orphan",
        drawn({"head": unit([])}),
        drawn({"head": unit(ON_1)}),
        ERROR, "head", "nothing supplies or feeds this unit.",
    ),
    (
        "feeds itself",
        drawn({"head": unit(ON_1, {"1": feed("head")}, fed=FED)}),
        pair(feed("slip")),
        ERROR, "head", "one of its ports feeds the unit itself.",
    ),
    (
        "two feed each other",
        drawn({"a": unit(ON_1, {"1": feed("b")}, fed=FED), "b": unit(ON_2, {"1": feed("a")}, fed=FED)}),
        drawn({"a": unit(ON_1, {"1": feed("b")}), "b": unit(ON_2, fed=FED)}),
        ERROR, "a", "a and b feed each other: neither can be trusted as the source.",
    ),
    (
        "ring of three",
        drawn({one: unit(ON_1, {"1": feed(two)}, fed=FED) for one, two in ("ab", "bc", "ca")}),
        drawn({"a": unit(ON_1, {"1": feed("b")}), "b": unit([], {"1": feed("c")}, fed=FED), "c": unit([], fed=FED)}),
        ERROR, "a", "a ring of feeds: a > b > c > a. Power must run from source to device.",
    ),
    (
        "fed without saying how",
        pair(feed("slip"), unit(ON_2)),
        pair(feed("slip")),
        WARNING, "slip", "head port 2 feeds it, but nothing says how it takes a feed (fed)",
    ),
    (
        "fed, but by nobody",
        drawn({"slip": unit(ON_2, fed=FED)}),
        pair(feed("slip")),
        NOTICE, "slip", "it can take a PoE feed, but no port feeds it: one leg only.",
    ),
    (
        # 16 mA from class 5 (IEEE 802.3-2022 clause 145): 54 V x 0.016 A = 0.864 W
        "standby below the maintain current of class 5 to 8",
        pair(feed("slip"), unit(ON_2, fed=FED | {"standby_w": 0.86})),
        pair(feed("slip"), unit(ON_2, fed=FED | {"standby_w": 0.87})),
        ERROR, "head port 2", "slip holds its spare feed with 0.86 W, but 16 mA at 54 V are 0.86 W",
    ),
    (
        # 10 mA to class 4: 54 V x 0.010 A = 0.54 W
        "standby below the maintain current of class 1 to 4",
        pair(feed("slip", **{"class": 4}), unit(ON_2, fed=FED | {"standby_w": 0.53})),
        pair(feed("slip", **{"class": 4}), unit(ON_2, fed=FED | {"standby_w": 0.54})),
        ERROR, "head port 2", "slip holds its spare feed with 0.53 W, but 10 mA at 54 V are 0.54 W",
    ),
    (
        "standby not declared",
        pair(feed("slip"), unit(ON_2, fed=FED | {"standby_w": None})),
        pair(feed("slip"), unit(ON_2, fed=FED | {"standby_w": None, "spare_feed": "hidden"})),
        WARNING, "head port 2", "the spare feed of slip is held, but its standby watts (standby_w) are not declared.",
    ),
    (
        "a feed of lower priority than a device",
        pair(feed("slip", priority="high"), beside={"5": camera("cam", priority="critical")}),
        pair(feed("slip", priority="high"), beside={"5": camera("cam", priority="high")}),
        WARNING, "head port 2",
        "it feeds slip, yet ranks with priority high below cam (port 5): it is shed before them.",
    ),
    (
        "a feed on a higher port than a device of the same priority",
        pair(feed("slip"), beside={"1": camera("cam", priority="critical")}),
        pair(feed("slip"), beside={"3": camera("cam", priority="critical")}),
        WARNING, "head port 2",
        "it feeds slip, yet ranks with priority critical below cam (port 1): it is shed before them.",
    ),
    (
        "Autoclass on a spare feed",
        pair(feed("slip", autoclass=True)),
        pair(feed("slip"), beside={"5": camera("cam", autoclass=True)}),
        WARNING, "head port 2", "Autoclass on the spare feed of slip: the port would measure the standby draw",
    ),
    (
        # 100 m: ISO/IEC 11801-1 and TIA-568.2, channel of balanced cable
        "cable beyond 100 m",
        pair(feed("slip", cable={"length_m": 100.5})),
        pair(feed("slip", cable={"length_m": 100})),
        WARNING, "head port 2", "its cable is 100.5 m; beyond 100 m it needs an extender or fibre.",
    ),
    (
        "cable beyond 100 m, but with an extender",
        pair(feed("slip", cable={"length_m": 180})),
        pair(feed("slip", cable={"length_m": 180}), {"extender": True, "own_use_w": 2}),
        WARNING, "head port 2", "its cable is 180 m",
    ),
    (
        "copper-clad",
        pair(feed("slip", cable={"conductor": "copper-clad"})),
        pair(feed("slip")),
        WARNING, "head port 2", "its cable is copper-clad aluminium",
    ),
    (
        "outdoor copper feed",
        pair(feed("slip", cable={"run": "outdoor"})),
        pair(feed("slip"), beside={"5": camera("cam", cable={"length_m": 9, "run": "outdoor"})}),
        NOTICE, "head port 2", "the feed of slip is outdoor copper: plan surge protection and bonding.",
    ),
    (
        "copper feed between buildings",
        pair(feed("slip", cable={"run": "between-buildings"})),
        pair(feed("slip", cable={"run": "indoor"})),
        WARNING, "head port 2", "the feed of slip is copper between buildings: earth potentials differ",
    ),
    (
        "copper feed to a vessel",
        pair(feed("slip", cable={"run": "to-vessel"})),
        pair(feed("slip", cable={"run": "indoor"})),
        WARNING, "head port 2", "the feed of slip is copper to a vessel: earth potentials differ",
    ),
    (
        # clause 145 demotes class 8 to 4 where the port is of Type 2
        "a feed above what the unit can grant",
        of_class_max(None, feed("slip")),
        of_class_max(8, feed("slip")),
        WARNING, "head port 2",
        "the feed of slip asks for class 8, but is granted class 4 (25.5 W at the PD input): class_max is not "
        "declared, 4 counted.",
    ),
    (
        "a device above what the unit can grant",
        of_class_max(5, camera("cam", **{"class": 6})),
        of_class_max(6, camera("cam", **{"class": 6})),
        WARNING, "head port 2",
        "cam asks for class 6, but is granted class 4 (25.5 W at the PD input): class_max is 5.",
    ),
    (
        "a class that is refused",
        of_class_max(2, camera("cam")),
        of_class_max(3, camera("cam")),
        WARNING, "head port 2", "cam asks for class 3, but class_max is 2: the port refuses it.",
    ),
    (
        # class 3: 12.95 W at the PD input (IEEE 802.3-2022, table 33-18)
        "watts above the class",
        of_class_max(8, camera("cam", typical_w=60)),
        of_class_max(8, camera("cam", typical_w=12.95)),
        WARNING, "head port 2", "typical_w 60 W is above the 12.95 W that class 3 allows.",
    ),
    (
        "several watts above the class, said once",
        of_class_max(8, camera("cam", typical_w=13, max_w=20)),
        of_class_max(8, camera("cam", typical_w=3, max_w=12)),
        WARNING, "head port 2", "typical_w 13 W and max_w 20 W are above the 12.95 W that class 3 allows.",
    ),
    (
        "an address used twice",
        addressed("10.0.0.1", "10.0.0.1"),
        addressed("10.0.0.1", "10.0.0.2"),
        ERROR, "b", "its address 10.0.0.1 is that of a too: one would be read as the other.",
    ),
    (
        # 161 is the agent's port (RFC 3417)
        "an address used twice, written differently",
        addressed("10.0.0.1", "10.0.0.1:161"),
        addressed("10.0.0.1", "10.0.0.1:1161"),
        ERROR, "b", "its address 10.0.0.1:161 is that of a too (written 10.0.0.1 there): one would be read",
    ),
    (
        "a name and a v6 address used twice",
        addressed("[::1]:161", "0:0::1"),
        addressed("Mast.example", "mast2.example"),
        ERROR, "b", "its address 0:0::1 is that of a too",
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("failing", "passing", "severity", "where", "sentence"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_check(failing: Site, passing: Site, severity: FindingSeverity, where: str, sentence: str) -> None:
    found = [(one.severity, one.where) for one in check_structure(failing) if one.sentence.startswith(sentence)]
    assert found == [(severity, where)]
    assert [one for one in check_structure(passing) if one.severity is not NOTICE] == []
    assert all(not one.sentence.startswith(sentence) for one in check_structure(passing))


def test_by_port_number_alone_priorities_do_not_count() -> None:
    ports = {"1": camera("cam"), "2": feed("slip")}
    head = unit(ON_1, ports) | {
        "pse": {"budget_w": 90, "voltage_v": 54, "ports": 8, "class_max": 8, "shed": "highest-port"}
    }
    found = check_structure(drawn({"head": head, "slip": unit(ON_2, fed=FED)}))
    assert [one.sentence for one in found] == [
        "it feeds slip, yet ranks by its port number below cam (port 1): it is shed before them."
    ]


def test_undeclared_port_voltage_counts_as_the_highest() -> None:
    # 57 V x 16 mA = 0.912 W (IEEE 802.3-2022: 57 V is the most of every type)
    head = unit(ON_1, {"2": feed("slip")}) | {"pse": {"budget_w": 90, "ports": 8, "class_max": 8}}
    for standby_w, count in ((0.91, 1), (0.92, 0)):
        found = check_structure(drawn({"head": head, "slip": unit(ON_2, fed=FED | {"standby_w": standby_w})}))
        assert len(found) == count


def test_errors_come_first() -> None:
    long = feed("b", cable={"run": "outdoor", "length_m": 130})
    site = drawn({"a": unit(ON_1, {"1": long}), "b": unit(ON_2, fed=FED), "c": unit([])})
    assert [one.severity for one in check_structure(site)] == [ERROR, WARNING, NOTICE]


NAMES = ("a", "b", "c", "d")
PARTIAL_PORTS = st.dictionaries(
    st.sampled_from(["1", "2", "2/3", "1/0/4"]),
    st.fixed_dictionaries(
        {}, optional={"feeds": st.sampled_from([*NAMES, "nobody", "a/in-2"]), "device": st.just("cam")}
    ),
)
PARTIAL_UNITS = st.dictionaries(
    st.sampled_from(NAMES),
    st.fixed_dictionaries(
        {"ports": PARTIAL_PORTS},
        optional={
            "supplies": st.just(ON_1),
            "fed": st.just({"spare_feed": "held", "standby_w": 0.1}),
            "pse": st.just({"budget_w": 0, "ports": 1}),
        },
    ),
    min_size=1,
)


@settings(max_examples=300, deadline=None)
@given(PARTIAL_UNITS)
def test_partial_plans_give_findings_never_an_exception(units: dict[str, Any]) -> None:
    site = drawn(units)
    for one in check_structure(site):
        assert one.sentence.endswith(".")
        assert one.where.split(" port ")[0] in site.units
