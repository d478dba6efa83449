"""Names and texts from switches in a site file: whatever they hold, the YAML says just them."""

from __future__ import annotations

import re

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from portdraw.plan import patterns
from portdraw.reporting.draft_names import MOST_LABEL, MOST_NAME, Names, comment, legal_name, quoted, scalar


@pytest.mark.parametrize(
    ("told", "name"),
    [
        ("north-pier", "north-pier"),
        ("Pier 7.example", "Pier 7.example"),
        ("  pier\t7\n", "pier 7"),
        ("--- !!python/object:x", "python-object-x"),
        ("{a: b}", "a- b"),
        ("Brücke", "Br-cke"),
        ("\x1b[31mpier", "31mpier"),
        ("...", ""),
        ("海", ""),
        ("", ""),
        ("x" * 500, "x" * 80),
    ],
)
def test_a_name_is_kept_as_far_as_it_is_legal(told: str, name: str) -> None:
    assert legal_name(told) == name


@given(st.text(max_size=200))
def test_a_name_is_legal_or_none(told: str) -> None:
    name = legal_name(told)
    assert name == "" or (re.match(patterns.NAME, name) and len(name) <= MOST_NAME)


@given(st.text(max_size=200))
def test_yaml_reads_back_what_was_meant_and_nothing_else(told: str) -> None:
    """PyYAML as another reader; a text is one scalar, a comment is nothing at all."""
    text = f"a: {quoted(told)}  {comment(told)}\nb: 1\n"
    read = yaml.safe_load(text)
    assert list(read) == ["a", "b"]
    assert isinstance(read["a"], str)
    assert len(read["a"]) <= MOST_LABEL
    assert re.match(patterns.TEXT, read["a"])
    name = legal_name(told)
    if name:
        assert yaml.safe_load(f"{scalar(name)}: {scalar(name)}") == {name: name}


@pytest.mark.parametrize("word", ["yes", "No", "on", "NULL", "true", "12", "0x1F", "1e3", "12:30", "a b", "y"])
def test_words_that_yaml_takes_for_something_else_are_quoted(word: str) -> None:
    assert yaml.safe_load(f"{{{scalar(word)}: {scalar(word)}}}") == {word: word}


def test_names_are_given_out_once() -> None:
    names = Names()
    taken = [names.take(*wishes) for wishes in (["phone"], ["phone"], ["Phone"], ["", "hall"], ["海"])]
    assert taken == ["phone", "phone-2", "Phone-3", "hall", "unnamed"]
    long = "x" * 80
    assert [names.take(long), names.take(long)] == [long, "x" * 78 + "-2"]
