"""The copy of the site file: other addresses, and not one other byte."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.rehearsal.terminal import SITE_FILE, terminal

from portdraw.plan.loader import load_site
from portdraw.rehearsal.local_copy import with_addresses, write_local_copy
from portdraw.rehearsal.wiring import RehearsalError


def test_the_copy_loads_and_differs_in_addresses_only(tmp_path: Path) -> None:
    addresses = {name: f"127.0.0.1:{20_000 + count}" for count, name in enumerate(terminal().units)}
    copy = write_local_copy(SITE_FILE, addresses, tmp_path)
    loaded = load_site(copy)
    assert {name: unit.address for name, unit in loaded.units.items()} == addresses
    original_lines = SITE_FILE.read_bytes().split(b"\n")
    copied_lines = copy.read_bytes().split(b"\n")
    changed = [pair for pair in zip(original_lines, copied_lines, strict=True) if pair[0] != pair[1]]
    assert len(changed) == len(addresses)
    assert all(b"address:" in before and b"127.0.0.1:" in after for before, after in changed)
    restored = with_addresses(
        copy.read_text(encoding="utf-8"), {name: str(unit.address) for name, unit in terminal().units.items()}
    )
    assert restored.encode() == SITE_FILE.read_bytes()


def test_comments_quotes_and_line_ends_stay() -> None:
    text = 'units:\r\n  a: {address: "10.0.0.1", place: ø}  # 10.0.0.1\r\n  b:\r\n    address: 10.0.0.2   # keep\r\n'
    expected = (
        "units:\r\n  a: {address: 127.0.0.1:7, place: ø}  # 10.0.0.1\r\n  b:\r\n    address: 127.0.0.1:8   # keep\r\n"
    )
    assert with_addresses(text, {"a": "127.0.0.1:7", "b": "127.0.0.1:8"}) == expected


def test_a_unit_without_an_address_is_named() -> None:
    with pytest.raises(RehearsalError, match="unit b has no address"):
        with_addresses("units: {a: {address: x}, b: {}}", {"b": "127.0.0.1:1"})


def test_the_original_is_never_overwritten(tmp_path: Path) -> None:
    original = tmp_path / "site.yaml"
    original.write_bytes(SITE_FILE.read_bytes())
    with pytest.raises(RehearsalError, match="overwritten"):
        write_local_copy(original, {}, tmp_path)
    assert original.read_bytes() == SITE_FILE.read_bytes()
