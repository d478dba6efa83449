"""What stands before every page: safe headers, lengths, names, rates, and who may ask what."""

from __future__ import annotations

import base64
import hashlib
import ipaddress
import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from portdraw.reporting.http.access import Access, Caller, Permission, gives_token
from portdraw.reporting.http.connection import asks_for_stream
from portdraw.reporting.http.patience import (
    MOST_RUNNING,
    MOST_STREAMS,
    MOST_TARGET_OCTETS,
    REQUESTS_AT_ONCE,
    REQUESTS_PER_S,
)
from portdraw.reporting.http.rate import RateLimit, client_key, is_loopback

TOO_LONG = "The address asked for is longer than this agent accepts.\n"
TOO_OFTEN = "Too many requests from this address; ask again in a moment.\n"
BUSY = "The agent is answering as many requests as it can; ask again in a moment.\n"
NOT_OUR_NAME = (
    "This agent is not called by this name; the names it answers to stand in its settings, listen: names.\n"
)
SIGN_IN = "A token is needed: as a bearer token, or as the password in a browser (with any user name).\n"
UNKNOWN_TOKEN = "This token is not known to this agent.\n"  # noqa: S105 - a sentence
MAY_NOT_READ = "This token may not read.\n"
MAY_NOT_OPERATE = "This token may read, but not operate.\n"
NOBODY_OPERATES = (
    "To take alarms in hand needs a token with the scope operate; the settings of this agent have no token.\n"
)
NOT_FROM_A_PAGE = (
    "A browser may send this password of its own accord. To take alarms in hand send the token as a bearer token, "
    "or ask from a page of this agent.\n"
)
CHALLENGES = 'Basic realm="portdraw", charset="UTF-8", Bearer realm="portdraw"'
CHALLENGES_AGAIN = f'{CHALLENGES}, error="invalid_token"'  # RFC 6750, section 3.1
# what says only "alive" or "ready" to those who may not read
OPEN_PATHS = frozenset({"/health", "/ready"})
OPERATE_PATHS = "/api/v1/alarms/"
CALLER = "portdraw.caller"
STRICT_TRANSPORT = "max-age=86400"  # RFC 6797; a day: browsers hold the whole host name to it, on every port


@dataclass(frozen=True)
class Rules:
    """How the application is guarded. `names` are host names to answer to, None where any will do."""

    access: Access = field(default_factory=Access)
    names: frozenset[str] | None = None
    tls: bool = False
    behind_proxy: bool = False


OPEN_TO_ALL = Rules()


def content_policy(styles: tuple[str, ...], scripts: tuple[str, ...]) -> str:
    """Return a Content-Security-Policy (level 3) that allows just these inline texts and nothing from outside."""

    def allowed(texts: tuple[str, ...]) -> str:
        digests = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts)
        return " ".join(f"'sha256-{digest}'" for digest in digests)

    return "; ".join(
        (
            "default-src 'none'",
            f"style-src {allowed(styles)}",
            f"script-src {allowed(scripts)}",
            "connect-src 'self'",
            "img-src data:",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
        )
    )


def safe_headers(policy: str = "default-src 'none'; frame-ancestors 'none'", tls: bool = False) -> dict[str, str]:
    """Return the headers of every answer."""
    headers = {
        "content-security-policy": policy,
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
        "referrer-policy": "no-referrer",
        "cross-origin-resource-policy": "same-origin",
        "cross-origin-opener-policy": "same-origin",
        "cache-control": "no-store",
    }
    return {**headers, "strict-transport-security": STRICT_TRANSPORT} if tls else headers


class Guard:
    """Adds the safe headers to every answer, and lets pass what is short, not too often, and allowed.

    `now_s` is any clock that only goes forward.
    """

    def __init__(
        self,
        app: ASGIApp,
        headers: Mapping[str, str],
        rules: Rules = OPEN_TO_ALL,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._app = app
        self._headers = headers
        self._rules = rules
        self._now_s = now_s
        self._rate = RateLimit(REQUESTS_PER_S, REQUESTS_AT_ONCE)
        self._running = 0
        self._streams = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer why not."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers[name] = value
            await send(message)

        refused = self._refusal(scope)
        if refused is not None:
            await refused(scope, receive, send_with_headers)
            return
        stream = asks_for_stream(scope["headers"])
        if self._streams >= MOST_STREAMS if stream else self._running >= MOST_RUNNING:
            await PlainTextResponse(BUSY, 503, {"retry-after": "1"})(scope, receive, send_with_headers)
            return
        self._streams += stream
        self._running += not stream
        try:
            await self._app(scope, receive, send_with_headers)
        finally:
            self._streams -= stream
            self._running -= not stream

    def _refusal(self, scope: Scope) -> Response | None:
        target = scope.get("raw_path") or scope["path"].encode()
        if len(target) + len(scope.get("query_string", b"")) > MOST_TARGET_OCTETS:
            return PlainTextResponse(TOO_LONG, 414)
        headers = Headers(scope=scope)
        state = scope.get("state") or {}
        caller = self._rules.access.caller(headers.get("authorization"), state.get("certificate"))
        wait_s = self._rate.wait_s(_counted_as(scope, caller, self._rules.behind_proxy), self._now_s())
        if wait_s > 0:
            return PlainTextResponse(TOO_OFTEN, 429, {"retry-after": str(math.ceil(wait_s))})
        names = self._rules.names
        if names is not None and not is_our_name(headers.get("host", ""), names):
            return PlainTextResponse(NOT_OUR_NAME, 421)  # RFC 9110, section 15.5.20
        scope[CALLER] = caller
        if caller is None:
            if scope["path"] in OPEN_PATHS:
                return None
            if gives_token(headers.get("authorization")):
                return PlainTextResponse(UNKNOWN_TOKEN, 401, {"www-authenticate": CHALLENGES_AGAIN})
            return PlainTextResponse(SIGN_IN, 401, {"www-authenticate": CHALLENGES})
        if _operates(scope):
            return self._may_operate(caller, headers)
        if Permission.READ not in caller.permissions and scope["path"] not in OPEN_PATHS:
            return PlainTextResponse(MAY_NOT_READ, 403)
        return None

    def _may_operate(self, caller: Caller, headers: Headers) -> Response | None:
        if Permission.OPERATE not in caller.permissions:
            return PlainTextResponse(MAY_NOT_OPERATE if self._rules.access.tokens else NOBODY_OPERATES, 403)
        # a header that no script can set and every browser of today sends over TLS (Fetch Metadata, section 2.2)
        if caller.by_itself and headers.get("sec-fetch-site") != "same-origin":
            return PlainTextResponse(NOT_FROM_A_PAGE, 403)
        return None


def caller_name(request: Request) -> str:
    """Return the name of who asks, "" where that is not known and the path is open to everybody."""
    found: Caller | None = request.scope.get(CALLER)
    return "" if found is None else found.name


def may_read(request: Request) -> bool:
    """Say whether who asks may see more than the bare words that are open to everybody."""
    found: Caller | None = request.scope.get(CALLER)
    return found is not None and Permission.READ in found.permissions


def is_our_name(host: str, names: frozenset[str]) -> bool:
    """Say whether a Host header names this agent: an address, localhost, or one of `names`.

    A page from elsewhere can have its own name point at this machine; the browser then sends that name.
    """
    try:
        name = (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return False
    if name == "localhost" or name in names:
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _counted_as(scope: Scope, caller: Caller | None, behind_proxy: bool) -> str:
    """Return whose requests these are: a known caller's, wherever it asks from, else those of the address.

    On this machine and behind a proxy many share one address: there each connection counts for itself.
    """
    if caller is not None and caller.known:
        return f"caller {caller.name}"
    address, port = scope.get("client") or ("", 0)
    return f"{address} {port}" if behind_proxy or is_loopback(address) else client_key(address)


def _operates(scope: Scope) -> bool:
    return scope["method"] == "POST" and str(scope["path"]).startswith(OPERATE_PATHS)
