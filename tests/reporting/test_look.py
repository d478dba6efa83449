"""The look of a page as its address says."""

from __future__ import annotations

import pytest

from portdraw.reporting.look import Look, look_from


@pytest.mark.parametrize(
    ("query", "look", "kept"),
    [
        ({}, Look(), ""),
        ({"theme": "dark"}, Look("dark"), "?theme=dark"),
        ({"theme": "light", "wall": ""}, Look("light", True), "?theme=light&wall"),
        ({"wall": "yes", "part": "main"}, Look("", True), "?wall"),
        ({"theme": '"><script>'}, Look(), ""),
    ],
)
def test_look_from_an_address(query: dict[str, str], look: Look, kept: str) -> None:
    assert look_from(query) == look
    assert look.query == kept


def test_each_other_look_is_one_step_away() -> None:
    assert Look("dark").others() == (
        ("as the system", "", False),
        ("light", "?theme=light", False),
        ("dark", "?theme=dark", True),
        ("desk", "?theme=dark", True),
        ("wall", "?theme=dark&wall", False),
    )
