"""Headers that go with every answer, and the bound on a request's length."""

from __future__ import annotations

import base64
import hashlib

from starlette.datastructures import MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LONGEST_TARGET = 2000
TOO_LONG = "The address asked for is longer than this agent accepts.\n"


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


def safe_headers(policy: str) -> dict[str, str]:
    """Return the headers of every answer."""
    return {
        "content-security-policy": policy,
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
        "referrer-policy": "no-referrer",
        "cross-origin-resource-policy": "same-origin",
        "cross-origin-opener-policy": "same-origin",
        "cache-control": "no-store",
    }


class Guard:
    """Refuses over-long addresses and adds the safe headers to every answer."""

    def __init__(self, app: ASGIApp, headers: dict[str, str]) -> None:
        self._app = app
        self._headers = headers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer 414."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    headers[name] = value
            await send(message)

        target = scope.get("raw_path") or scope["path"].encode()
        if len(target) + len(scope.get("query_string", b"")) > LONGEST_TARGET:
            await PlainTextResponse(TOO_LONG, 414)(scope, receive, send_with_headers)
            return
        await self._app(scope, receive, send_with_headers)
