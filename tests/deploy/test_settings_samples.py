"""The sample settings load: as they stand, and with each commented group in its place."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml

from portdraw.service.settings import load_settings

SAMPLE = Path(__file__).resolve().parents[2] / "deploy" / "settings.example.yaml"
TEXT = SAMPLE.read_text(encoding="utf-8")
_IS_SAMPLE = re.compile(r"#(?! ?$)(?! \S)")  # prose has exactly one space after its mark


def groups() -> list[str]:
    """Return the commented groups, uncommented."""
    found: list[list[str]] = [[]]
    for line in TEXT.splitlines():
        if _IS_SAMPLE.match(line):
            found[-1].append(line[1:])
        elif found[-1]:
            found.append([])
    return ["\n".join(lines) + "\n" for lines in found if lines]


def with_group(group: str) -> str:
    """Return the settings with a group in the place of the lines of the same name."""
    name = group.split(":", 1)[0]
    kept, inside = [], False
    for line in TEXT.splitlines():
        inside = line.startswith(f"{name}:") or (inside and line.startswith(" "))
        if not inside:
            kept.append(line)
    return "\n".join(kept) + "\n" + group


def test_the_sample_loads_as_it_stands() -> None:
    loaded = load_settings(SAMPLE)
    assert loaded.settings.listen.host == "127.0.0.1"
    assert list(loaded.settings.receivers) == ["desk"]


def test_there_are_samples_of_all_that_can_be_commented_in() -> None:
    assert {group.split(":", 1)[0] for group in groups()} == {
        "listen",
        "access",
        "receivers",
        "notifications",
        "columns",
    }
    assert len(groups()) >= 7


@pytest.mark.parametrize("group", groups(), ids=lambda group: group.split("\n")[0][:40])
def test_each_group_loads_in_its_place(tmp_path: Path, group: str) -> None:
    path = tmp_path / "settings.yaml"
    path.write_text(with_group(group), encoding="utf-8")
    before, after = load_settings(SAMPLE).settings, load_settings(path).settings
    name = group.split(":", 1)[0]
    changed = {key for key in type(after).model_fields if getattr(before, key) != getattr(after, key)}
    assert changed == {name}
    # nothing of the group was lost on the way
    given = yaml.safe_load(group)[name]
    told = getattr(after, name)
    size = len(given)
    assert len(told) == size if isinstance(told, dict | tuple) else told.model_fields_set == set(given)
