"""Tokens and certificates: who is let in, and that no secret is ever shown."""

from __future__ import annotations

import base64

import pytest

from portdraw.reporting.http.access import Access, Permission, make_token

SECRET = "0123456789abcdef"
READ, OPERATE = frozenset({Permission.READ}), frozenset({Permission.READ, Permission.OPERATE})
ACCESS = Access((make_token("scraper", SECRET.encode(), READ), make_token("shift", b"another-secret-16", OPERATE)))


def basic(text: str) -> str:
    return "Basic " + base64.b64encode(text.encode()).decode()


@pytest.mark.parametrize(
    ("header", "name"),
    [
        (f"Bearer {SECRET}", "scraper"),
        (f"bearer  {SECRET} ", "scraper"),
        ("Bearer another-secret-16", "shift"),
        (basic(f"anybody:{SECRET}"), "scraper"),
        (basic(f":{SECRET}"), "scraper"),
        (f"Bearer {SECRET}x", None),
        (f"Bearer {SECRET[:-1]}", None),
        ("Bearer ", None),
        ("Bearer", None),
        ("", None),
        (None, None),
        (SECRET, None),
        (f"Digest {SECRET}", None),
        ("Basic !!!", None),
        ("Basic ä", None),
        (basic(SECRET), None),
        (basic(f"{SECRET}:"), None),
        ("Bearer " + "a" * 100_000, None),
        ("Bearer \udcff\x00", None),
    ],
)
def test_who_asks(header: str | None, name: str | None) -> None:
    caller = ACCESS.caller(header)
    assert (None if caller is None else caller.name) == name


def test_what_a_browser_may_send_by_itself_is_marked() -> None:
    """RFC 7617: user agents send Basic credentials without being asked again."""
    by_hand, by_itself = ACCESS.caller(f"Bearer {SECRET}"), ACCESS.caller(basic(f"x:{SECRET}"))
    assert by_hand is not None
    assert by_itself is not None
    assert (by_hand.by_itself, by_itself.by_itself) == (False, True)


def test_with_nothing_set_everybody_reads_and_nobody_operates() -> None:
    caller = Access().caller(None)
    assert caller is not None
    assert caller.permissions == READ
    assert not caller.known


def test_a_certificate_counts_only_where_certificates_do() -> None:
    assert Access(ACCESS.tokens).caller(None, "scraper") is None
    with_certificates = Access(ACCESS.tokens, client_certificates=True)
    caller = with_certificates.caller(None, "scraper")
    assert caller is not None
    assert caller.permissions == READ
    assert with_certificates.caller(None) is None


@pytest.mark.parametrize(
    ("secret", "sentence"),
    [
        (b"0123456789abcde", "shorter than 16"),
        (b"0123456789 abcdef", "RFC 6750"),
        ("äöü0123456789abc".encode(), "6750"),
    ],
)
def test_a_token_that_is_unfit_is_refused_without_being_shown(secret: bytes, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence) as caught:
        make_token("a", secret, READ)
    assert secret.decode() not in str(caught.value)


def test_no_secret_in_any_repr() -> None:
    assert SECRET not in repr(ACCESS)
    assert ACCESS.tokens[0].digest.hex() not in repr(ACCESS)
    assert repr(ACCESS.tokens[0].digest) not in repr(ACCESS)
