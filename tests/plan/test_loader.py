"""The site file's errors: each at its line and column, each in a sentence of its own."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.plan.samples import SMALL, changed, where

from portdraw.plan.loader import load_site, parse_site
from portdraw.plan.plan_error import PlanError
from portdraw.plan.structure import check_structure


def lines_of(text: str) -> list[str]:
    """Return the lines of the error that a text gives; a text that loads fails the test."""
    with pytest.raises(PlanError) as caught:
        parse_site(text)
    return str(caught.value).splitlines()


def test_small_site_loads_and_has_no_findings() -> None:
    site = parse_site(SMALL)
    assert list(site.units) == ["winch-house", "slip"]
    assert site.units["winch-house"].ports["1"].feeds_unit == "slip"
    assert check_structure(site) == []


# what is changed, into what, where the error must be told (a text and how far into it), path, and the sentence
BAD = [
    ("budget_w: 120", "budgt_w: 120", ("budgt_w", 0), "units.winch-house.pse.budgt_w",
     "is not a key that belongs here; did you mean 'budget_w'?"),
    ("budget_w: 120, ", "", ("{voltage_v: 54, ports: 8", 0), "units.winch-house.pse", "needs the key 'budget_w'"),
    ("typical_w: 6", "typical_w: '6,5'", ("'6,5'", 0), "device_types.camera.typical_w",
     "must be a number, is '6,5'; write 6.5 with a point"),
    ("typical_w: 6", "typical_w: -1", (": -1", 2), "device_types.camera.typical_w", "must be 0 or more, is -1"),
    ("typical_w: 6", "typical_w: 250", ("250", 0), "device_types.camera.typical_w", "must be 100 or less, is 250"),
    ("typical_w: 6", "typical_w: .nan", (".nan", 0), "device_types.camera.typical_w", "must be a number, is '.nan'"),
    ("typical_w: 6", "typical_w: nan", (": nan", 2), "device_types.camera.typical_w",
     "must be a finite number, is 'nan'"),
    ("{class: 3", "{class: 9", ("{class: 9", 8), "device_types.camera.class", "must be 8 or less, is 9"),
    ("{class: 3", "{class: three", ("three", 0), "device_types.camera.class", "must be a whole number, is 'three'"),
    ("{class: 3", "{class: 3.5", ("3.5", 0), "device_types.camera.class", "must be a whole number, is 3.5"),
    ("{class: 3", "{class: [3, 6]", ("6]", 0), "device_types.camera.class[2]", "must be 5 or less, is 6"),
    ("{class: 3", "{class: [3]", ("[3]", 0), "device_types.camera.class", "is too short: entry 2 is missing"),
    ("priority: critical", "priority: critcal", ("critcal", 0), "units.winch-house.ports.1.priority",
     "must be critical, high or low, is 'critcal'; did you mean 'critical'?"),
    ("conductor: copper}}\n      2", "conductor: }}\n      2", ("conductor: }}", 11),
     "units.winch-house.ports.1.cable.conductor", "is empty: write a value, or leave the key out"),
    ("[{from: slip-1}]", "{from: slip-1}", ("{from: slip-1}", 0), "units.winch-house.supplies",
     "must be a list, such as [a, b]"),
    ("{from: slip-1}", "slip-1", ("[slip-1", 1), "units.winch-house.supplies[1]",
     "must be a group of keys and values, is 'slip-1'"),
    ("to: \"06:30\"", "to: 6:30", ("6:30", 0), "site.night.to",
     'must be a time of day in quotes, such as "20:00", is \'6:30\''),
    ("to: \"06:30\"", "to: 20:00", ("to: 20", 4), "site.night.to",
     "is the same time as 'from': the night would have no length"),
    ("Atlantic/Faroe", "Atlantic/Skarholm", ("Atlantic/Skarholm", 0), "site.timezone",
     "'Atlantic/Skarholm' is not a time zone that this machine knows, such as Atlantic/Faroe"),
    ("Atlantic/Faroe", "Atlantic/Faroee", ("Atlantic/Faroee", 0), "site.timezone",
     "'Atlantic/Faroee' is not a time zone that this machine knows; did you mean 'Atlantic/Faroe'?"),
    ("  slip:\n", "  slip:\n    address: 10.0.0.1:99999\n", ("10.0.0.1:99999", 0), "units.slip.address",
     "must be a host or host:port, its port between 1 and 65535, such as 10.20.0.31 or 10.20.0.31:1161, "
     "is '10.0.0.1:99999'"),
    ("slip-2: {panel: P1", "slip-2: {continuous_percent: 79,5, panel: P1", ("5, panel", 0), "circuits.slip-2.5",
     "is not a key that belongs here; is the comma before 5 meant as a decimal point?"),
    ("format: 1", "format: 2", ("2\n", 0), "format", "must be 1, is 2"),
    ("      2: {device", "      02: {device", ("02: {device", 0), "units.winch-house.ports.02",
     "must be a printed port number without leading zeros, such as 3, or member and port, such as 2/14"),
    ("      2: {device", "      9: {device", ("9: {device", 0), "units.winch-house.ports.9",
     "is not one of the unit's 8 ports (pse.ports)"),
    ("      2: {device", "      1: {device", ("1: {device: winch", 0), "units.winch-house.ports.1",
     "is written twice here; the first is in line 15"),
    ("device: winch-cam", "snmp: '1.1', device: winch-cam", ("'1.1'", 0), "units.winch-house.ports.2.snmp",
     "has the same MIB index 1.1 as port 1"),
    ("feeds: slip,", "feeds: slap,", ("slap", 0), "units.winch-house.ports.1.feeds",
     "no unit is named 'slap'; did you mean 'slip'?"),
    ("2: {device: winch-cam, type: camera", "2: {feeds: slip, class: 4", ("2: {feeds: slip", 11),
     "units.winch-house.ports.2.feeds", "'slip' is already fed by winch-house port 1; one input takes one feed"),
    ("2: {device: winch-cam, type: camera", "2: {feeds: slip/in-1, class: 4", ("slip/in-1", 0),
     "units.winch-house.ports.2.feeds", "'slip/in-1' is already fed by winch-house port 1; one input takes one feed"),
    ("{feeds: slip,", "{feeds: slip, device: bell,", ("{feeds: slip", 8), "units.winch-house.ports.1.feeds",
     "stands beside device 'bell'; a port has one or the other"),
    ("feeds: slip, class: 4", "feeds: slip", ("1: {feeds", 0), "units.winch-house.ports.1",
     "the feed of 'slip' has no class"),
    ("device: slip-cam, type: camera", "device: slip-cam", ("1: {device: slip-cam", 0), "units.slip.ports.1",
     "device 'slip-cam' has neither a type nor a class"),
    ("device: slip-cam, type: camera", "type: camera", ("1: {type", 0), "units.slip.ports.1",
     "has a type or a class, but names neither a device nor a unit that it feeds"),
    ("device: slip-cam, type: camera", "device: slip-cam, type: camra", ("camra", 0), "units.slip.ports.1.type",
     "no device type is named 'camra'; did you mean 'camera'?"),
    ("device: slip-cam", "device: winch-cam", ("device: winch-cam, type: camera, cable: {length_m: 30", 8),
     "units.slip.ports.1.device", "'winch-cam' is already the name of the device on winch-house port 2"),
    ("device: slip-cam", "device: slip", ("device: slip,", 8), "units.slip.ports.1.device",
     "'slip' is already the name of one of the units"),
    ("from: slip-2", "from: slip-3", ("slip-3", 0), "units.slip.supplies[1].from",
     "no circuit or UPS is named 'slip-3'; did you mean 'slip-2'?"),
    ("slip-2: {panel: P1", "slip-2: {panel: Q9", ("Q9", 0), "circuits.slip-2.panel", "no panel is named 'Q9'"),
    ("P1: {fed_from: town-supply}", "P1: {fed_from: P1}", ("P1}", 0), "panels.P1.fed_from",
     "leads back to this panel: no incomer feeds it"),
    ("  slip:\n", "  slip:\n    data_via: winch\n", ("winch\n", 0), "units.slip.data_via",
     "no unit is named 'winch'; did you mean 'winch-house'?"),
    ("  slip:\n", "  slip:\n    access: watch\n", ("watch\n", 0), "units.slip.access",
     "is given, but the unit has no address to be read at"),
    ("  slip:\n", "  slip:\n    extender: true\n", ("[{from: slip-2", 0), "units.slip.supplies",
     "an extender lives from its feed alone; it can't have supplies"),
    ("  slip:\n", "  'slip!':\n", ("'slip!'", 0), "units.slip!",
     "must be a name: letters, digits, spaces, dots, hyphens and underscores, beginning with a letter or digit"),
    ("panel: P1, breaker: \"1\"", "panel: &p P1, breaker: \"1\"", ("&p P1", 0), "circuits.slip-1.panel",
     "has an anchor (&); anchors are not taken, write the values out"),
    ("panel: P1, breaker: \"1\"", "panel: !x P1, breaker: \"1\"", ("!x P1", 0), "circuits.slip-1.panel",
     "has a tag (!); tags are not taken, remove it"),
    ("incomers: {", "incomers: {? [a, b] : c, ", ("[a, b]", 0), "incomers.?1",
     "has a list or a group of keys where a key must stand"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "place", "path", "sentence"), BAD)
def test_bad_input_is_told_at_its_place(old: str, new: str, place: tuple[str, int], path: str, sentence: str) -> None:
    text = changed(old, new)
    expected = f"site.yaml:{where(text, place[0], place[1])}: {path}: {sentence}"
    assert expected in lines_of(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "site.yaml: is empty: there is nothing in it to read"),
        ("# nothing yet\n", "site.yaml: is empty: there is nothing in it to read"),
        ("just words", "site.yaml:1:1: must hold keys and values, such as `format: 1`"),
        ("- a\n- b", "site.yaml:1:1: must hold keys and values, such as `format: 1`"),
        ("a:\n\tb: 1", "site.yaml:2:1: a tab is used where spaces must indent; YAML takes spaces only"),
        ("a: 1\nb: \0", "site.yaml:2:4: holds a NUL byte; this is not a plain text file"),
        ("a: 1\nb: \x1b[31m",
         "site.yaml:2:4: holds a character that can't be printed (U+001B); this is not a plain text file"),
        ("a: b: c", "site.yaml:1:5: a colon stands where no key can be: check the indentation, or quote the text"),
        ("a:\n  b: 1\n c: 2", "site.yaml:3:2: the indentation does not fit the lines above"),
        ("a: 1\n---\nb: 1", "site.yaml:2:1: begins a second document (---); one file holds one document"),
        ("{a: 1", "site.yaml:2:1: a group in { } is not closed, or lacks a comma"),
        ("a: @b", "site.yaml:1:4: a character stands here that can't begin a value; quote the text"),
        ("a: - b", "site.yaml:1:4: a list item (-) stands where none can be: check the indentation"),
    ],
)  # fmt: skip
def test_text_that_is_no_site_file(text: str, expected: str) -> None:
    assert expected in lines_of(text)


def test_pairs_and_class_must_agree() -> None:
    text = changed("class: 4, priority: critical, cable: {", "class: 5, priority: critical, cable: {pairs: 2, ")
    at = where(text, "pairs: 2", 7)
    assert lines_of(text) == [
        f"site.yaml:{at}: units.winch-house.ports.1.cable.pairs: is 2, but class 5 needs all 4 pairs"
    ]
    dual = changed("{class: 3", "{class: [3, 3]").replace("{length_m: 20", "{pairs: 2, length_m: 20")
    assert lines_of(dual)[0].endswith("is 2, but a dual-signature device needs all 4 pairs")


def test_all_errors_are_told_together_and_no_more_than_twenty() -> None:
    text = changed("typical_w: 6", "typical_w: x").replace('breaker: "2"', 'braker: "2"')
    assert len(lines_of(text)) == 3  # the watts, the unknown key, and the key that now is missing
    many = SMALL + "".join(f"nonsense-{number}: 1\n" for number in range(50))
    told = lines_of(many)
    assert len(told) == 21
    assert told[-1] == "site.yaml: and 30 more"


def test_no_sentence_of_the_typing_library_is_left() -> None:
    texts = [changed(old, new) for old, new, *_ in BAD]
    texts.append("format: {}\nsite: []\nunits: 3")
    texts.append("format: 1\nsite: {name: 1, night: x}\nunits: {a: [], b: {ports: 1}}")
    for text in texts:
        told = "\n".join(lines_of(text))
        assert "Input should" not in told
        assert "a value that fits here" not in told


def test_scalars_mean_what_they_look_like() -> None:
    # YAML 1.1 would read off as false, 012 as ten, 1:30 as ninety and 1_6 as sixteen
    text = changed("  slip:\n", "  slip:\n    place: off\n    zone: '012'\n")
    assert parse_site(text).units["slip"].place == "off"
    assert parse_site(changed('breaker: "1"', "breaker: 012")).circuits["slip-1"].breaker == "012"
    assert parse_site(changed('breaker: "1"', "breaker: 1:30")).circuits["slip-1"].breaker == "1:30"
    assert parse_site(changed("priority: critical", "off: yes")).units["winch-house"].ports["1"].off


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet=st.characters(), max_size=200))
def test_random_text_raises_nothing_but_a_plan_error(text: str) -> None:
    with pytest.raises(PlanError):
        parse_site(text)


YAML_PIECES = [
    "- ", ": ", "{", "}", "[", "]", "\n", "  ", "\t", "'", '"', "&a", "*a", "!!int ", "? ", "|", ">", "#", "%", "---",
    "...", "<<", "a", "1", "~", "null", "format", "units", "core", "ports", "class", ",", "\\x",
]  # fmt: skip


@settings(max_examples=500, deadline=None)
@given(st.lists(st.sampled_from(YAML_PIECES), max_size=40).map("".join))
def test_random_yaml_raises_nothing_but_a_plan_error(text: str) -> None:
    with pytest.raises(PlanError):
        parse_site(text)


@settings(max_examples=300, deadline=None)
@given(st.integers(0, len(SMALL) - 1), st.integers(0, 30), st.sampled_from(YAML_PIECES))
def test_damaged_site_loads_or_raises_a_plan_error(at: int, cut: int, put: str) -> None:
    with contextlib.suppress(PlanError):
        check_structure(parse_site(SMALL[:at] + put + SMALL[at + cut :]))


@pytest.mark.parametrize("depth", [100, 2_000, 100_000])
@pytest.mark.parametrize("opening", ["[", "{a: ", "- ", "? "])
def test_deep_nesting_is_refused(depth: int, opening: str) -> None:
    told = lines_of(opening * depth)
    assert len(told) <= 21
    assert any("nested more than 40 levels deep" in line for line in told)


def test_block_nesting_of_a_hundred_levels_is_refused_at_its_line() -> None:
    text = "".join(f"{' ' * level}a:\n" for level in range(100)) + f"{' ' * 100}a: 1\n"
    assert lines_of(text)[-1] == "site.yaml:41:41: is nested more than 40 levels deep"


def test_file_of_ten_megabytes_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_bytes(b"# " + b"x" * 10_000_000)
    with pytest.raises(PlanError) as caught:
        load_site(file)
    assert str(caught.value) == f"{file}: is larger than 8 MB, which no site needs; it was not read"


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"a: 1\nb: \xff\xfe", "{file}:2:4: is not UTF-8 text here; save the file as UTF-8"),
        (b"a: 1\nb: \x00", "{file}:2:4: holds a NUL byte; this is not a plain text file"),
        (b"", "{file}: is empty: there is nothing in it to read"),
    ],
)
def test_file_that_is_no_text(tmp_path: Path, data: bytes, expected: str) -> None:
    file = tmp_path / "site.yaml"
    file.write_bytes(data)
    with pytest.raises(PlanError) as caught:
        load_site(file)
    assert str(caught.value) == expected.format(file=file)


def test_byte_order_mark_is_taken_off(tmp_path: Path) -> None:
    file = tmp_path / "site.yaml"
    file.write_bytes(b"\xef\xbb\xbf" + SMALL.encode())
    assert load_site(file) == parse_site(SMALL)


def test_folder_missing_file_and_pipe(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path, sentence in (
        (tmp_path, "is a folder, not a file"),
        (tmp_path / "none.yaml", "there is no such file"),
        (pipe, "is not a plain file"),
    ):
        with pytest.raises(PlanError) as caught:
            load_site(path)
        assert str(caught.value) == f"{path}: {sentence}"


def test_many_errors_and_many_values_end_soon() -> None:
    ports = "".join(
        f"      {number}: {{device: cam-{number}, type: nothing, priority: most}}\n" for number in range(1, 1001)
    )
    units = "".join(f"  unit-{number}:\n    ports:\n{ports}" for number in range(20))
    told = lines_of(f"format: 1\nsite: {{name: x}}\nunits:\n{units}")
    assert told[-1] == "site.yaml: and 19980 more"


def test_a_file_of_countless_values_is_refused() -> None:
    assert lines_of("a: [" + "1, " * 1_000_001 + "]")[-1].endswith(
        "holds more than 1000000 values, which no site needs"
    )
