"""How an agent is asked: SNMP version, user and secrets, resolved and ready for an engine."""

from __future__ import annotations

from dataclasses import dataclass, field

AUTH_NAMES = ("none", "md5", "sha1", "sha224", "sha256", "sha384", "sha512")
PRIVACY_NAMES = (
    "none",
    "des",
    "3des",
    "aes128",
    "aes192",
    "aes256",
    "aes192-blumenthal",
    "aes256-blumenthal",
)


@dataclass(frozen=True, slots=True)
class Community:
    """SNMP v2c: the community travels in clear."""

    community: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class User:
    """SNMP v3: user name, algorithms by our names (AUTH_NAMES, PRIVACY_NAMES), passphrases of 8 octets or more."""

    user: str
    auth: str
    auth_secret: bytes = field(repr=False)
    privacy: str
    privacy_secret: bytes = field(repr=False)


Access = Community | User
