"""Posts one message of an alarm to a web address: signed, in bounded time, told how it went."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import ipaddress
import time
from dataclasses import dataclass
from urllib.parse import urlsplit

import httpx

SIGNATURE_HEADER = "Portdraw-Signature"
FIRST_WAIT_S = 5.0
LONGEST_WAIT_S = 900.0
TIMEOUT_S = 10.0
LONGEST_URL = 2000


@dataclass(frozen=True)
class Delivery:
    """How one attempt went. `status` is the HTTP status of an answer; `error` is a sentence, "" if ok."""

    ok: bool
    status: int | None
    error: str
    took_s: float


def signature(secret: bytes, body: bytes) -> str:
    """Return "sha256=" and the HMAC-SHA256 (RFC 2104) of the body in hexadecimal."""
    return "sha256=" + hmac.new(secret, body, hashlib.sha256).hexdigest()


def backoff_s(attempt: int) -> float:
    """Return how long to wait after a failed attempt [s]: 5, 10, 20 ... up to 900. ValueError below 1."""
    if attempt < 1:
        raise ValueError("attempts are counted from 1")
    return float(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** min(attempt - 1, 20)))


def why_refused(url: str, emulated: bool) -> str:
    """Return why this address can't be a receiver, "" where it can. The address is not in the answer.

    An emulated site may only tell this same machine, or its alarms would be taken for real ones.
    """
    if len(url) > LONGEST_URL or not url.isascii() or not url.isprintable() or " " in url:
        return "A receiver's address must be plain ASCII without blanks, and not longer than 2000 letters."
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname, parts.port
    except ValueError:
        return "A receiver's address can't be understood: expected http://HOST:PORT/PATH or https://HOST/PATH."
    if parts.scheme not in ("http", "https") or not host:
        return "A receiver's address must begin with http:// or https:// and name a host."
    if emulated and not _is_loopback(host):
        return "EMULATED: the site is a rehearsal, so its alarms go to this machine only (127.0.0.1, ::1, localhost)."
    return ""


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


async def post(url: str, body: bytes, secret: bytes | None, timeout_s: float = TIMEOUT_S) -> Delivery:
    """Post a message once, within `timeout_s` altogether, following no redirect and using no proxy.

    Any 2xx answer counts as taken. Never raises for what the other side does; the error never shows the address.
    """
    refused = why_refused(url, emulated=False)
    if refused:
        return Delivery(False, None, refused, 0.0)
    headers = {"content-type": "application/json", "user-agent": "portdraw"}
    if secret:
        headers[SIGNATURE_HEADER] = signature(secret, body)
    began_s = time.monotonic()
    status: int | None = None
    try:
        async with asyncio.timeout(timeout_s):
            client = httpx.AsyncClient(follow_redirects=False, trust_env=False, timeout=timeout_s)
            async with client, client.stream("POST", url, content=body, headers=headers) as answer:
                status = answer.status_code
        error = "" if 200 <= status < 300 else _status_words(status)
    except (TimeoutError, httpx.TimeoutException):
        error = f"no answer within {timeout_s:g} s"
    except httpx.ConnectError:
        error = "no connection: nothing listens there, or its name or certificate is not accepted"
    except Exception as problem:  # whatever a receiver does, it may not end the agent
        error = f"the exchange broke off ({type(problem).__name__})"
    return Delivery(not error, status, error, time.monotonic() - began_s)


def _status_words(status: int) -> str:
    if 300 <= status < 400:
        return f"answered {status}, a redirect, which is not followed"
    return f"answered {status} instead of taking the message"
