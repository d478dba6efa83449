"""Object identifiers and texts as they may arrive."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portdraw.reading.varbind import Kind, Varbind, oid_text, parse_oid

arcs = st.integers(0, 2**32 - 1)
oids = st.one_of(
    st.tuples(st.integers(0, 1), st.integers(0, 39)).flatmap(
        lambda head: st.lists(arcs, max_size=126).map(lambda tail: (*head, *tail))
    ),
    st.lists(arcs, min_size=1, max_size=127).map(lambda tail: (2, *tail)),
)


@given(oids, st.sampled_from(["", "."]))
def test_oid_and_text_are_inverse(oid: tuple[int, ...], lead: str) -> None:
    """Limits by RFC 2578, section 3.5: 128 arcs, each below 2^32."""
    assert parse_oid(lead + oid_text(oid)) == oid


@given(st.text(max_size=60))
def test_any_text_gives_an_oid_or_one_sentence(text: str) -> None:
    try:
        oid = parse_oid(text)
    except ValueError as error:
        assert "is not an object identifier such as" in str(error)  # noqa: PT017
    else:
        assert all(0 <= arc < 2**32 for arc in oid)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1",
        ".",
        "1.",
        "..1.3",
        "1..3",
        "1.3.-1",
        "1.3.4294967296",
        "3.1",
        "1.40",
        "1.3.6.x",
        "1.3.\u0663",
        "1.3." + "9" * 5000,
        ".".join(["1"] * 129),
    ],
)
def test_what_is_no_oid_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is not an object identifier such as"):
        parse_oid(text)


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        (b"pier camera\r\n\x1b[31m", "pier camera???[31m"),
        (b"\xff\xfeab", "\ufffd\ufffdab"),
        ("Havn \u202eseltit".encode(), "Havn ?seltit"),
        (b"  padded\x00", "padded?"),
        (b"", ""),
    ],
)
def test_text_of_strangers_shows_no_control_characters(raw: bytes, shown: str) -> None:
    assert Varbind((1, 3), Kind.OCTETS, raw).as_text() == shown


@given(st.binary(max_size=200))
def test_shown_text_is_always_printable(raw: bytes) -> None:
    assert all(char.isprintable() for char in Varbind((1, 3), Kind.OCTETS, raw).as_text())
