"""One HTTP POST of JSON to a receiver: bounded in time, no redirect, no proxy, told how it went."""

from __future__ import annotations

import asyncio
import ssl
import time
from collections.abc import Mapping

import httpx

from portdraw.reporting.notify.attempt import Attempt
from portdraw.reporting.notify.receiver_address import why_refused


async def post_json(
    url: str,
    body: bytes,
    headers: Mapping[str, str],
    timeout_s: float,
    tls: ssl.SSLContext | None = None,
    auth: tuple[str, str] | None = None,
) -> Attempt:
    """Post once, within `timeout_s` altogether; any 2xx answer counts as taken. The error never shows the address.

    `tls` says which certificates are trusted, the machine's own where None; `auth` is user and password of HTTP
    Basic (RFC 7617). Never raises for what the other side does.
    """
    refused = why_refused(url, emulated=False)
    if refused:
        return Attempt(False, None, refused, 0.0)
    if tls is None:
        # without TLS a bare context, which trusts nobody, saves reading the machine's certificates for nothing
        tls = ssl.create_default_context() if url.startswith("https") else ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    all_headers = {"content-type": "application/json", "user-agent": "portdraw", **headers}
    began_s = time.monotonic()
    status: int | None = None
    try:
        async with asyncio.timeout(timeout_s):
            client = httpx.AsyncClient(
                follow_redirects=False, trust_env=False, timeout=timeout_s, verify=tls, auth=auth
            )
            async with client, client.stream("POST", url, content=body, headers=all_headers) as answer:
                status = answer.status_code
        error = "" if 200 <= status < 300 else _status_words(status)
    except (TimeoutError, httpx.TimeoutException):
        error = f"no answer within {timeout_s:g} s"
    except httpx.ConnectError as problem:
        error = connect_words(problem)
    except Exception as problem:  # whatever a receiver does, it may not end the agent
        error = f"the exchange broke off ({type(problem).__name__})"
    return Attempt(not error, status, error, time.monotonic() - began_s)


def connect_words(problem: BaseException) -> str:
    """Return why a connection did not come about, without the address: a refused certificate is named as such."""
    seen: BaseException | None = problem
    while seen is not None:
        if isinstance(seen, ssl.SSLCertVerificationError):
            return f"its certificate is not accepted: {seen.verify_message}"
        if isinstance(seen, ssl.SSLError):
            return "no TLS with it: both sides have no protocol in common, or it speaks none"
        seen = seen.__cause__ or seen.__context__
    return "no connection: nothing listens there, or its name is not known"


def _status_words(status: int) -> str:
    if 300 <= status < 400:
        return f"answered {status}, a redirect, which is not followed"
    if status in (401, 403):
        return f"answered {status}: it wants other credentials"
    return f"answered {status} instead of taking the message"
