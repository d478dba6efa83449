"""The loader for settings and MIB data: typed, and silent about secrets."""

from __future__ import annotations

import pytest
import yaml
from pydantic import BaseModel, ConfigDict
from tests.plan.samples import SMALL

from portdraw.plan import yaml_tree
from portdraw.plan.plan_error import PlanError
from portdraw.plan.yaml_text import load_typed
from portdraw.plan.yaml_tree import read_tree, show_path, show_text


class Secret(BaseModel):
    model_config = ConfigDict(extra="forbid")
    file: str | None = None
    env: str | None = None


class Access(BaseModel):
    model_config = ConfigDict(extra="forbid")
    version: int
    auth_secret: Secret | None = None


class Settings(BaseModel):
    model_config = ConfigDict(extra="forbid")
    access: dict[str, Access] = {}


def told(text: str) -> str:
    with pytest.raises(PlanError) as caught:
        load_typed(text, "agent.yaml", Settings)
    return str(caught.value)


def test_typed_settings() -> None:
    loaded = load_typed("access: {a: {version: 3, auth_secret: {file: auth}}}", "agent.yaml", Settings)
    assert loaded.access["a"].version == 3


@pytest.mark.parametrize(
    "text",
    [
        "access: {a: {version: 3, auth_secret: hunter2}}",
        "access: {a: {version: 3, auth_secret: {file: [hunter2]}}}",
        "access: {a: {version: 3, auth_secret: {hunter2}}}",
        "access: {a: {version: 3, auth_secret: {hunter2: 1}}}",
        "access: {a: {version: 3, auth_secret: [hunter2]}}",
        "access: {a: {version: 3, auth_secret: {file: {hunter2: x}}}}",
        "access: {a: {version: 3, auth_secret: !hunter2 x}}",
        "access: {a: {version: 3, auth_secret: &hunter2 x}}",
        "access: {a: {version: 3, auth_secret: *hunter2}}",
        "access: {a: {version: 3, auth_secret: {hunter2: 1, hunter2: 2}}}",
    ],
)
def test_a_secret_written_in_the_open_is_never_repeated(text: str) -> None:
    sentence = told(text)
    assert "hunter2" not in sentence
    assert sentence.startswith("agent.yaml:1:")
    assert "access.a.auth_secret" in sentence


def test_sentences_are_one_line_without_control_characters() -> None:
    sentence = told('access: {"a\\e[31m\\nb": 3}')
    assert sentence == "agent.yaml:1:24: access.a?[31m?b: must be a group of keys and values, is 3"


def test_paths_count_list_entries_from_one() -> None:
    assert show_path(("units", "core", "supplies", 0, "from")) == "units.core.supplies[1].from"
    assert show_text("x" * 100, 10) == "xxxxxxx..."


def test_marks_and_values_agree_with_the_library_s_own_composer() -> None:
    """PyYAML's composer is the reference: same structure, same places, for a whole file."""
    tree = read_tree(SMALL, "site.yaml")

    def compare(node: yaml.Node, path: tuple[str | int, ...]) -> int:
        mark = (node.start_mark.line + 1, node.start_mark.column + 1)
        assert tree.value_marks[path] == mark
        if isinstance(node, yaml.MappingNode):
            count = 1
            for key, value in node.value:
                assert tree.key_marks[(*path, key.value)] == (key.start_mark.line + 1, key.start_mark.column + 1)
                count += compare(value, (*path, key.value))
            return count
        if isinstance(node, yaml.SequenceNode):
            return 1 + sum(compare(value, (*path, at)) for at, value in enumerate(node.value))
        value = tree.value
        for part in path:
            value = value[part]  # type: ignore[index]
        assert value == node.value
        return 1

    root = yaml.compose(SMALL, Loader=yaml.SafeLoader)
    assert root is not None
    assert compare(root, ()) == len(tree.value_marks)


@pytest.mark.parametrize(
    "text", ["a:\n\tb: 1", "a: [1, 2", "a: b: c", "a:\n  b: 1\n c: 2", "a: *x", "a: 'x", "[" * 2000, "a: @x"]
)
def test_both_parsers_of_the_library_give_our_sentences(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the C parser the sentences are the same, and the places at most one line apart (end of the file)."""
    found: list[tuple[str, int]] = []
    for loader in (yaml.SafeLoader, getattr(yaml, "CSafeLoader", yaml.SafeLoader)):
        monkeypatch.setattr(yaml_tree, "_LOADER", loader)
        with pytest.raises(PlanError) as caught:
            load_typed(text, "x.yaml", Settings)
        last = caught.value.problems[-1]
        found.append((last.sentence, last.line))
    assert found[0][0] == found[1][0]
    assert abs(found[0][1] - found[1][1]) <= 1
