"""Where a receiver of alarms may be: its address taken apart, or a sentence why it can't be one."""

from __future__ import annotations

import ipaddress
from urllib.parse import SplitResult, urlsplit

HTTP = ("http", "https")
SYSLOG = ("tcp", "tls", "udp")
LONGEST_URL = 2000


def why_refused(url: str, emulated: bool, schemes: tuple[str, ...] = HTTP) -> str:
    """Return why this address can't be a receiver, "" where it can. The address is not in the answer.

    An emulated site may only tell this same machine, or its alarms would be taken for real ones.
    """
    if len(url) > LONGEST_URL or not url.isascii() or not url.isprintable() or " " in url:
        return "A receiver's address must be plain ASCII without blanks, and not longer than 2000 letters."
    forms = "tcp://HOST:PORT, tls://HOST:PORT or udp://HOST:PORT" if schemes == SYSLOG else _HTTP_FORMS
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        return f"A receiver's address can't be understood: expected {forms}."
    if parts.scheme not in schemes or not host:
        return f"A receiver's address must begin with {_begins(schemes)} and name a host."
    if parts.username is not None or parts.password is not None:
        return (
            "A receiver's address must hold no user name or password: the secret belongs into a file or a variable."
        )
    if schemes == SYSLOG and (not port or parts.path not in ("", "/") or parts.query or parts.fragment):
        return f"A receiver's address must be {forms}, and nothing after the port."
    if emulated and not _is_loopback(host):
        return "EMULATED: the site is a rehearsal, so its alarms go to this machine only (127.0.0.1, ::1, localhost)."
    return ""


def split_syslog(url: str) -> tuple[str, str, int]:
    """Return scheme, host and port of a syslog address that was not refused. ValueError for any other."""
    parts: SplitResult = urlsplit(url)
    if why_refused(url, emulated=False, schemes=SYSLOG) or parts.hostname is None or parts.port is None:
        raise ValueError("not the address of a syslog receiver")
    return parts.scheme, parts.hostname, parts.port


_HTTP_FORMS = "http://HOST:PORT/PATH or https://HOST/PATH"


def _begins(schemes: tuple[str, ...]) -> str:
    names = [f"{scheme}://" for scheme in schemes]
    return ", ".join(names[:-1]) + f" or {names[-1]}"


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
