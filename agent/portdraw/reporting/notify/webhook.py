"""Posts one message of an alarm to a web address, signed, so that a forged or an old one can be told from it."""

from __future__ import annotations

import hashlib
import hmac
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from portdraw.reporting.notify.alarm_message import message_body
from portdraw.reporting.notify.attempt import TIMEOUT_S, Attempt
from portdraw.reporting.notify.http_post import post_json
from portdraw.reporting.site_json import Json

SIGNATURE_HEADER = "Portdraw-Signature"


@dataclass(frozen=True)
class Webhook:
    """A receiver of signed JSON."""

    url: str = field(repr=False)
    secret: bytes | None = field(default=None, repr=False)
    tls: ssl.SSLContext | None = field(default=None, repr=False)

    @property
    def way(self) -> str:
        """How it is reached."""
        return "webhook"

    async def send(self, message: Mapping[str, Json], tried: int, timeout_s: float) -> Attempt:
        """Post a message with the time of this attempt in it, so that an old one can be told when it is played again.

        `sent_at` is the machine's own time, whatever clock the site has: the receiver holds it against its own.
        """
        sent_at = datetime.now(UTC).isoformat(timespec="milliseconds")
        body = message_body({**message, "sent_at": sent_at, "attempt": tried + 1})
        return await post(self.url, body, self.secret, timeout_s, self.tls)


def signature(secret: bytes, body: bytes) -> str:
    """Return "sha256=" and the HMAC-SHA256 (RFC 2104) of the body in hexadecimal."""
    return "sha256=" + hmac.new(secret, body, hashlib.sha256).hexdigest()


async def post(
    url: str, body: bytes, secret: bytes | None, timeout_s: float = TIMEOUT_S, tls: ssl.SSLContext | None = None
) -> Attempt:
    """Post a body once, signed where there is a secret; as `post_json`."""
    headers = {SIGNATURE_HEADER: signature(secret, body)} if secret else {}
    return await post_json(url, body, headers, timeout_s, tls)
