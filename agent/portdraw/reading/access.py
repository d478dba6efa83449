"""How an agent is asked: SNMP version, user and secrets, resolved and ready for an engine."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Community:
    """SNMP v2c: the community travels in clear."""

    community: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class User:
    """SNMP v3: user name, algorithms by the names of the settings file, passphrases of 8 octets or more."""

    user: str
    auth: str
    auth_secret: bytes = field(repr=False)
    privacy: str
    privacy_secret: bytes = field(repr=False)


Access = Community | User
