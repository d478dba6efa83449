"""The MIB objects as data: sources, units, names, and object identifiers against copies that are not ours."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError
from pysnmp.smi.builder import MibBuilder
from tests.references.reference_table import rows

from portdraw.observation.record import PortState, PowerSource, Quantity
from portdraw.plan.plan_error import PlanError
from portdraw.reading.catalogue import MibObject, load_catalogue, standard_catalogue
from portdraw.reading.varbind import oid_text

CATALOGUE = standard_catalogue()
WATTS = {
    *(Quantity.PORT_DRAW, Quantity.PORT_DRAW_UNCERTAINTY, Quantity.PORT_GRANTED, Quantity.PORT_REQUESTED),
    *(Quantity.PORT_PD_DRAW, Quantity.UNIT_DRAW, Quantity.UNIT_BUDGET, Quantity.SUPPLY_DRAW, Quantity.UPS_OUTPUT),
}
# rows whose object identifier no second copy at hand confirms
NO_SECOND_SOURCE = {
    # agents' practice below the root of 2005, whose module ends at column 6: one open agent's test is the only source
    *("lldpXdot3LocPowerSource", "lldpXdot3RemPowerSource", "lldpXdot3RemPowerType"),
    *("lldpXdot3LocPDRequestedPowerValue", "lldpXdot3RemPDRequestedPowerValue"),
    *("lldpXdot3LocPSEAllocatedPowerValue", "lldpXdot3RemPSEAllocatedPowerValue"),
    # neighbours of a misplaced column, in a padded copy of a module only
    *("pethPsePortPowerAccuracy@mib-2", "pethPsePortCumulativeEnergy@mib-2"),
    "dpPoeIfPower",  # the root itself was read in copy F
    "h3cPsePortCurrentPower@43",  # copies of a module that was read, below an older number
    "h3cPsePortCurrentPower@2011",
    "poePortPower@171.10.75.6",  # one table at six roots, one for each model and hardware revision
    "poePortPower@171.10.75.13",
    "poePortPower@171.10.76.12",
    "poePortPower@171.10.76.16",
    "poePortPower@171.10.76.21.1",
    "poePortPower@171.10.126.3.1",
}


ROW = {"oid": "1.3.6.1.4.1.9.1", "index": "group-port", "quantity": "port draw", "syntax": "gauge", "unit": "W"}
GOOD = {**ROW, "basis": "measured", "source": "a module text"}


@pytest.mark.parametrize("name", CATALOGUE.objects)
def test_every_row_has_a_source_and_watts_a_unit_and_a_basis(name: str) -> None:
    entry = CATALOGUE.objects[name]
    assert len(entry.source) >= 10
    assert (entry.unit == "W") == (entry.quantity in WATTS)
    assert (entry.basis is not None) == (entry.unit == "W")
    assert entry.unit in ("W", "V", "A", "J", "%", "s", "count", "")
    assert CATALOGUE.module_of[name].document


def test_names_and_object_identifiers_are_unique() -> None:
    oids = [entry.oid for entry in CATALOGUE.objects.values()]
    assert len(set(oids)) == len(oids)
    assert sum(len(module.objects) for module in CATALOGUE.modules) == len(CATALOGUE.objects)


def test_states_and_sources_are_words_of_the_records() -> None:
    for _, entry in CATALOGUE.of(Quantity.PORT_STATE):
        assert set(entry.values.values()) == set(PortState)
    for quantity in (Quantity.PORT_PD_SOURCE, Quantity.UNIT_OWN_SOURCE):
        for _, entry in CATALOGUE.of(quantity):
            assert {*entry.values.values(), *entry.bits.values()} <= set(PowerSource)


def test_object_identifiers_agree_with_copies_that_are_not_ours() -> None:
    """tests/references/mib_objects.csv; what it lacks is listed above and nowhere else."""
    second = {row["object"]: row["oid"] for row in rows("mib_objects.csv")}
    assert {name: CATALOGUE.objects[name].oid for name in second} == second
    assert set(CATALOGUE.objects) - set(second) == NO_SECOND_SOURCE


def test_system_group_agrees_with_the_library_s_own_module() -> None:
    builder = MibBuilder()
    names = [name for name in CATALOGUE.objects if CATALOGUE.module_of[name].module == "SNMPv2-MIB"]
    assert len(names) == 5
    for name in names:
        (symbol,) = builder.import_symbols("SNMPv2-MIB", name)
        assert oid_text(tuple(symbol.name)) == CATALOGUE.objects[name].oid


def test_notifications_agree_with_copies_that_are_not_ours() -> None:
    """tests/references/mib_notifications.csv, and the library's own SNMPv2-MIB; the others are listed here."""
    told: dict[str, set[str]] = {}
    for module in CATALOGUE.modules:
        for name, entry in module.notifications.items():
            assert len(entry.source) >= 10
            told.setdefault(name, set()).add(entry.oid)
    second = {row["notification"]: row["oid"] for row in rows("mib_notifications.csv")}
    builder = MibBuilder()
    for name in ("coldStart", "warmStart", "authenticationFailure"):
        (symbol,) = builder.import_symbols("SNMPv2-MIB", name)
        second[name] = oid_text(tuple(symbol.name))
    assert {name: oid for name, oid in second.items() if oid not in told[name]} == {}
    # linkDown and linkUp: net-snmp sends them by their generic numbers in test_notification_listener; the other two
    # stand beside a notification that was read
    assert set(told) - set(second) == {"linkDown", "linkUp", "entStateOperEnabled", "eoPowerStateChange"}


def test_a_notification_of_v1_is_found_with_and_without_the_zero_before_its_number() -> None:
    """RFC 3584, section 3.1: enterprise, 0, specific number; upsTraps of RFC 1628 has no zero."""
    for oid in ((1, 3, 6, 1, 2, 1, 33, 2, 0, 1), (1, 3, 6, 1, 2, 1, 33, 2, 1)):
        entry = CATALOGUE.notification(oid)
        assert entry is not None
        assert entry.words == "the UPS is on battery"
    assert CATALOGUE.notification((1, 3, 6, 1, 2, 1, 105, 1)) is None
    assert CATALOGUE.notification((1, 3, 6, 1, 4, 1, 32473, 0, 1)) is None


def test_private_columns_lie_below_their_enterprise() -> None:
    """Structure of management information: 1.3.6.1.4.1 is enterprises (RFC 2578), then the IANA number."""
    for module in CATALOGUE.modules:
        for name, entry in module.objects.items():
            private = entry.arcs[:6] == (1, 3, 6, 1, 4, 1)
            assert private == (module.enterprise is not None), name
            assert not private or entry.arcs[6] == module.enterprise


def test_standard_watts_come_before_private_ones() -> None:
    order = [CATALOGUE.module_of[name].enterprise is not None for name, _ in CATALOGUE.of(Quantity.PORT_DRAW)]
    assert order == sorted(order)


def test_what_a_row_needs_of_another_must_be_there(tmp_path: Path) -> None:
    row = "{oid: 1.3.6.1.2.1.1.5, index: scalar, role: r, syntax: integer, times: two, source: some text}"
    (tmp_path / "1.yaml").write_text(f"module: M\ndocument: D\nobjects:\n  one: {row}\n")
    with pytest.raises(ValueError, match="one needs two, which is not there or has another index"):
        load_catalogue(tmp_path)


def test_columns_of_a_site_come_after_the_standard_and_before_the_private_ones() -> None:
    own = MibObject.model_validate({**GOOD, "oid": "1.3.6.1.4.1.32473.1.1"})
    order = [name for name, _ in CATALOGUE.with_site_columns({"dock": own}).of(Quantity.PORT_DRAW)]
    private = [CATALOGUE.module_of[name].enterprise is not None for name in order if name != "dock"]
    assert order.index("dock") == private.index(True)
    assert CATALOGUE.with_site_columns({}) is CATALOGUE


@pytest.mark.parametrize(
    ("told", "asked"),
    [
        ((1, 3, 6, 1, 4, 1, 32473, 5, 1), True),
        ((1, 3, 6, 1, 4, 1, 32473, 5), True),
        ((1, 3, 6, 1, 4, 1, 32473, 50), False),
        ((1, 3, 6, 1, 4, 1, 32473), False),
        (None, False),
    ],
)
def test_a_column_for_some_agents_is_asked_of_those(told: tuple[int, ...] | None, asked: bool) -> None:
    entry = MibObject.model_validate({**GOOD, "system": "1.3.6.1.4.1.32473.5"})
    assert entry.is_for(told) is asked
    assert MibObject.model_validate(GOOD).is_for(told)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"basis": None}, "watts need a basis"),
        ({"unit": "mW"}, "a quantity in watts, and no other, has the unit W"),
        ({"unit": "", "basis": None}, "a quantity in watts, and no other, has the unit W"),
        ({"source": ""}, "at least 5 characters"),
        ({"oid": "1.3.x"}, "is not an object identifier"),
        ({"scale": 0}, "greater than 0"),
        ({"quantity": None}, "an object needs a quantity or a role"),
        ({"syntax": "integer-or-bits2", "bits": {0: "unknown"}}, "two bits have four values"),
        ({"colour": "red"}, "Extra inputs are not permitted"),
    ],
)
def test_a_row_that_says_too_little_is_refused(change: dict[str, object], sentence: str) -> None:
    MibObject.model_validate(GOOD)
    with pytest.raises(ValidationError, match=sentence):
        MibObject.model_validate({**GOOD, **change})


def test_one_name_in_two_files_is_refused(tmp_path: Path) -> None:
    row = "{oid: 1.3.6.1.2.1.1.5, index: scalar, role: r, syntax: text, source: some text}"
    text = f"module: M\ndocument: D\nobjects:\n  one: {row}\n"
    (tmp_path / "1.yaml").write_text(text)
    assert list(load_catalogue(tmp_path).objects) == ["one"]
    (tmp_path / "2.yaml").write_text(text)
    with pytest.raises(ValueError, match="the object one stands in two files"):
        load_catalogue(tmp_path)


def test_a_damaged_file_is_named_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "1.yaml").write_text("module: M\ndocument: D\nobjects:\n  one: {oid: 1.3.6.1}\n")
    with pytest.raises(PlanError, match=r"1\.yaml:4:"):
        load_catalogue(tmp_path)
