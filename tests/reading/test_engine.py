"""Addresses as people write them."""

from __future__ import annotations

import ipaddress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portdraw.reading.engine import Failure, Target, parse_address

ports = st.integers(1, 65535)


@pytest.mark.parametrize(
    ("text", "host", "port"),
    [
        ("10.20.0.2", "10.20.0.2", 161),
        ("10.20.0.2:1161", "10.20.0.2", 1161),
        ("core.example", "core.example", 161),
        ("core.example:9", "core.example", 9),
        ("2001:db8::1", "2001:db8::1", 161),
        ("[2001:db8::1]", "2001:db8::1", 161),
        ("[2001:db8::1]:1161", "2001:db8::1", 1161),
        ("::1", "::1", 161),
    ],
)
def test_address_forms(text: str, host: str, port: int) -> None:
    assert parse_address(text, "a") == Target(host, port, "a")


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            ":161",
            "host:",
            "host:x",
            "host:\u00b2",
            "[::1",
            "[::1]x",
            "[::1]::161",
            "[::1]161",
            "[host]:161",
            "[]",
        ),
        *("1:2:3", "a b", "host\n", "ho\x1bst", "host]", " 10.20.0.2", "host:-1", "host:+1", "host: 1"),
    ],
)
def test_what_is_no_address_is_one_sentence(text: str) -> None:
    with pytest.raises(ValueError, match="is not an address such as"):
        parse_address(text, "a")


@pytest.mark.parametrize("port", ["0", "65536", "99999", "9" * 5000])
def test_ports_out_of_range(port: str) -> None:
    with pytest.raises(ValueError, match="the port must be between 1 and 65535"):
        parse_address(f"10.20.0.2:{port}", "a")


@given(st.ip_addresses(), ports)
def test_shown_target_reads_back(address: ipaddress.IPv4Address | ipaddress.IPv6Address, port: int) -> None:
    target = Target(str(address), port, "a")
    assert parse_address(str(target), "a") == target


@given(st.text(max_size=40))
def test_any_text_gives_a_target_or_one_sentence(text: str) -> None:
    try:
        target = parse_address(text, "a")
    except ValueError as error:
        assert "is not an address" in str(error) or "the port must be" in str(error)  # noqa: PT017
    else:
        assert 0 < target.port < 65536
        assert target.host
        assert target.host.isprintable()


def test_which_failures_are_about_credentials() -> None:
    assert {failure for failure in Failure if failure.is_credentials} == {
        Failure.UNKNOWN_USER,
        Failure.WRONG_DIGEST,
        Failure.WRONG_LEVEL,
        Failure.WRONG_PRIVACY,
        Failure.REFUSED,
    }
