"""Throw-away credentials of one rehearsal, made at run time; they open nothing but the emulated agents."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field

SECRET_BYTES = 18  # 24 characters; RFC 3414 asks for 8 at least


@dataclass(frozen=True)
class Credentials:
    """v2c community, and a v3 user with SHA-256 authentication and AES-128 privacy (RFC 7860, RFC 3826)."""

    community: str = field(default_factory=lambda: secrets.token_urlsafe(SECRET_BYTES), repr=False)
    user: str = "rehearsal"
    auth_secret: str = field(default_factory=lambda: secrets.token_urlsafe(SECRET_BYTES), repr=False)
    priv_secret: str = field(default_factory=lambda: secrets.token_urlsafe(SECRET_BYTES), repr=False)
