"""The draft of a site file: what stands in it, what is marked a guess, and what is left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from tests.history.samples import SOURCE

from portdraw.observation.record import Basis, PortState, Quantity, Record
from portdraw.observation.unit_observation import Outcome, UnitObservation
from portdraw.plan.loader import parse_site
from portdraw.reading.discovery import Discovered, FoundUnit, Missed
from portdraw.reading.neighbours import Neighbour
from portdraw.reporting.draft_site import DraftSite, with_todo

HOSTILE = 'x"}\n  evil: {access: none}\r\u2028# \x00\x1b[2J{{7*7}}: &a *a !!python/object:os.system'
Told = tuple[Quantity, float | int | str | None]


def unit(
    address: str,
    ports: Mapping[str, Sequence[Told]],
    *neighbours: Neighbour,
    name: str | None = None,
    budget_w: float | None = 90.0,
    labels: Mapping[str, str] | None = None,
    basis: Basis = Basis.MEASURED,
    via: str | None = None,
) -> FoundUnit:
    def record(port: str | None, quantity: Quantity, value: float | int | str | None) -> Record:
        watts = quantity in (Quantity.PORT_DRAW, Quantity.UNIT_BUDGET)
        return Record(port, quantity, value, "W" if watts else "", basis if watts else None, SOURCE, 0.0)

    records = [record(port, *told) for port, all_told in ports.items() for told in all_told]
    records.append(record(None, Quantity.UNIT_BUDGET, budget_w))
    observation = UnitObservation(address, 0.0, 0.0, Outcome.ANSWERED, "", tuple(records))
    told_name = address if name is None else name
    return FoundUnit(address, told_name, "", b"", observation, labels or {}, neighbours, 0, via)


def delivering(watts: float | None = None, port_class: int | None = None, priority: str = "low") -> list[Told]:
    return [
        (Quantity.PORT_STATE, PortState.DELIVERING),
        (Quantity.PORT_DRAW, watts),
        (Quantity.PORT_CLASS, port_class),
        (Quantity.PORT_PRIORITY, priority),
    ]


SEARCHING: list[Told] = [(Quantity.PORT_STATE, PortState.SEARCHING)]


def draft(*units: FoundUnit, of: Mapping[tuple[str, int], str] | None = None, missed: Sequence[Missed] = ()) -> str:
    return DraftSite(Discovered(units, tuple(missed), of or {}), "watch", "core", "2026-03-02 12:00 UTC").text()


def line_of(text: str, begin: str) -> str:
    return next(line.strip() for line in text.splitlines() if line.strip().startswith(begin))


def test_a_device_is_named_by_lldp_and_its_guesses_are_marked() -> None:
    text = draft(unit("core", {"1": delivering(6.83, 3, "high")}, Neighbour("1", "pier-cam"), labels={"1": "A-01"}))
    assert line_of(text, "1:") == (
        '1: {device: pier-cam, class: 3, typical_w: 6.8, priority: high, label: "A-01"}'
        "  # guess: name by LLDP, typical_w of one reading"
    )
    port = parse_site(text).units["core"].ports["1"]
    assert (port.device, port.device_class, port.typical_w) == ("pier-cam", 3, 6.8)
    assert (port.priority, port.label) == ("high", "A-01")


def test_without_lldp_a_device_has_its_label_s_name_and_without_that_none_of_its_own() -> None:
    ports = {"1": delivering(2.0, 1), "2": delivering(3.0, 4)}
    text = draft(unit("core", ports, labels={"1": "gate sensor"}))
    assert line_of(text, "1:").startswith('1: {device: "gate sensor", class: 1,')
    assert "name by label" in line_of(text, "1:")
    assert line_of(text, "2:") == (
        '2: {device: "core port 2", class: 4, typical_w: 3.0}'
        "  # guess: class 4 or above, typical_w of one reading; not told: name"
    )


def test_what_is_not_told_is_left_out_and_said() -> None:
    text = draft(unit("core", {"1": delivering(None, 2)}, Neighbour("1", "cam"), budget_w=None))
    assert line_of(text, "1:") == "1: {device: cam, class: 2}  # guess: name by LLDP; not told: watts"
    assert "    # not told: pse: {budget_w: W, ports: N}" in text
    # a column that merely repeats the allocation is no draw
    granted = draft(unit("core", {"1": delivering(15.4, 2)}, Neighbour("1", "cam"), basis=Basis.GRANTED))
    assert "typical_w:" not in line_of(granted, "1:")
    # and a device without a class can't stand in a site file
    unclassed = draft(unit("core", {"1": delivering(5.0)}, Neighbour("1", "cam")))
    assert line_of(unclassed, "# TODO (").startswith(
        "# TODO (plan needs its class): 1: {device: cam, typical_w: 5.0}"
    )
    assert parse_site(unclassed).units["core"].ports == {}


def test_a_feed_is_a_neighbour_on_a_port_that_delivers() -> None:
    core = unit("core", {"1": delivering(1.3, 4), "2": SEARCHING}, Neighbour("1", "pier"), Neighbour("2", "quay"))
    pier = unit("pier", {"1": delivering(5.0, 3)}, Neighbour(None, "core"), via="core")
    quay = unit("quay", {"1": delivering(5.0, 3)}, via="core")
    text = draft(core, pier, quay, of={("core", 0): "pier", ("core", 1): "quay", ("pier", 0): "core"})
    site = parse_site(text)
    assert [(key, port.feeds) for key, port in site.units["core"].ports.items()] == [("1", "pier")]
    assert site.units["pier"].fed is not None
    assert site.units["pier"].data_via is None
    assert site.units["quay"].fed is None
    assert site.units["quay"].data_via == "core"
    assert "# 2: no power here; LLDP hears quay" in text


def test_two_feeds_of_one_unit_get_inputs_and_a_ring_is_cut() -> None:
    core = unit(
        "core", {"1": delivering(1.3, 4), "2": delivering(1.3, 4)}, Neighbour("1", "pier"), Neighbour("2", "pier")
    )
    pier = unit("pier", {"1": delivering(9.0, 4)}, Neighbour("1", "core"))
    text = draft(core, pier, of={("core", 0): "pier", ("core", 1): "pier", ("pier", 0): "core"})
    site = parse_site(text)
    assert [port.feeds for port in site.units["core"].ports.values()] == ["pier/in-1", "pier/in-2"]
    assert all(port.feeds is None for port in site.units["pier"].ports.values())


def test_names_of_units_and_devices_never_meet() -> None:
    ports = {key: delivering(3.0, 2) for key in ("1", "2", "3")}
    heard = [Neighbour("1", "phone"), Neighbour("2", "phone"), Neighbour("3", "core")]
    site = parse_site(draft(unit("core", ports, *heard)))
    assert [port.device for port in site.units["core"].ports.values()] == ["phone", "phone-2", "core-2"]


def test_port_numbers_that_no_site_file_has_are_counted_and_keep_their_index() -> None:
    """ifIndex 10101 is the port's number in some agents; a printed number has four digits at most."""
    text = draft(unit("core", {"10101": delivering(3.0, 2), "10102": delivering(4.0, 2), "2": delivering(5.0, 2)}))
    ports = parse_site(text).units["core"].ports
    assert {key: (port.snmp, port.typical_w) for key, port in ports.items()} == {
        "1": ("1.10101", 3.0),
        "3": ("1.10102", 4.0),
        "2": (None, 5.0),
    }
    assert text.count("the printed number, counted in order") == 2


def test_ports_that_are_numbered_by_interface_are_counted_in_their_order() -> None:
    """As the recorded eight-port agent does: 1001 to 1008."""
    ports = {str(1000 + n): delivering(3.0, 2) if n in (3, 8) else SEARCHING for n in range(1, 9)}
    found = parse_site(draft(unit("core", ports))).units["core"].ports
    assert {key: port.snmp for key, port in found.items()} == {"3": "1.1003", "8": "1.1008"}


def test_whatever_comes_over_the_wire_stays_text() -> None:
    hostile = unit(
        "10.0.0.1",
        {"1": delivering(3.0, 2), "2": SEARCHING},
        Neighbour("1", HOSTILE, b"", HOSTILE),
        Neighbour("2", HOSTILE),
        name=HOSTILE,
        labels={"1": HOSTILE, "2": HOSTILE},
    )
    text = draft(hostile, missed=[Missed(HOSTILE, "10.0.0.1", "1", HOSTILE, HOSTILE)])
    text = with_todo(text, [HOSTILE])
    site = parse_site(text)
    assert len(site.units) == 1
    (one,) = site.units.values()
    assert (one.address, one.access) == ("10.0.0.1", "watch")
    assert set(one.ports) == {"1", "2"}
    assert "\x1b" not in text
    assert "\x00" not in text


def test_neighbours_that_were_not_read_are_told_at_the_end() -> None:
    missed = [Missed("hut", "core", "7", "10.0.0.9", "10.0.0.9 gave no answer")]
    text = draft(unit("core", {}), missed=missed)
    assert text.endswith('# not read: "hut" at 10.0.0.9, heard by core port 7: 10.0.0.9 gave no answer\n')


@pytest.mark.parametrize("sentences", [[], ["core: nothing supplies or feeds this unit."]])
def test_what_plan_asks_for_ends_the_draft(sentences: list[str]) -> None:
    asked = (
        "\n# TODO, as `portdraw plan` and `portdraw run` will ask:\n#   core: nothing supplies or feeds this unit.\n"
    )
    assert with_todo("format: 1\n", sentences) == "format: 1\n" + (asked if sentences else "")
