"""Who asks, and what may they do? Tokens with scopes, and client certificates."""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import re
from dataclasses import dataclass, field
from enum import StrEnum

LEAST_TOKEN_OCTETS = 16  # 128 bits where each octet is random; common practice, no source
LONGEST_CREDENTIALS = 8192
# RFC 6750, section 2.1: b64token
_BEARER_TOKEN = re.compile(rb"[A-Za-z0-9._~+/-]+=*")


class Permission(StrEnum):
    """What a caller may do: see everything that is shown, or take alarms in hand."""

    READ = "read"
    OPERATE = "operate"


@dataclass(frozen=True)
class Token:
    """A token by its name; of the secret only its SHA-256 is kept."""

    name: str
    permissions: frozenset[Permission]
    digest: bytes = field(repr=False)


@dataclass(frozen=True)
class Caller:
    """Who asks. `by_itself`: the browser may have sent the credentials of its own accord (HTTP Basic).

    `known` is false for anybody, where everybody may read.
    """

    name: str
    permissions: frozenset[Permission]
    by_itself: bool = False
    known: bool = True


@dataclass(frozen=True)
class Access:
    """Who is let in: with neither tokens nor client certificates everybody may read, and nobody may operate."""

    tokens: tuple[Token, ...] = ()
    client_certificates: bool = False

    @property
    def is_open(self) -> bool:
        """Say whether everybody may read."""
        return not self.tokens and not self.client_certificates

    def caller(self, authorization: str | None, certificate: str | None = None) -> Caller | None:
        """Return who asks, by the Authorization header or the name in a verified certificate; None where unknown.

        A certificate gives the right to read; what changes anything takes a token.
        """
        if authorization:
            found = self._by_token(authorization)
            if found is not None:
                return found
        if self.client_certificates and certificate is not None:
            return Caller(certificate, frozenset({Permission.READ}))
        return Caller("anybody", frozenset({Permission.READ}), known=False) if self.is_open else None

    def _by_token(self, authorization: str) -> Caller | None:
        secret, by_itself = _secret_of(authorization)
        digest = hashlib.sha256(secret).digest()
        found: Token | None = None
        for token in self.tokens:  # all of them, whichever fits: the time taken tells nothing
            if hmac.compare_digest(token.digest, digest):
                found = token
        return None if found is None or not secret else Caller(found.name, found.permissions, by_itself)


def make_token(name: str, secret: bytes, permissions: frozenset[Permission]) -> Token:
    """Return a token. Raises ValueError with one sentence, without the secret, where it is too short or unfit."""
    if len(secret) < LEAST_TOKEN_OCTETS:
        raise ValueError(f"is shorter than {LEAST_TOKEN_OCTETS} octets, which can be guessed")
    if not _BEARER_TOKEN.fullmatch(secret):
        raise ValueError(
            "holds a character that no bearer token has: letters, digits and - . _ ~ + / only (RFC 6750)"
        )
    return Token(name, permissions, hashlib.sha256(secret).digest())


def gives_token(authorization: str | None) -> bool:
    """Say whether an Authorization header holds a token, known or not."""
    return bool(authorization) and bool(_secret_of(authorization or "")[0])


def _secret_of(authorization: str) -> tuple[bytes, bool]:
    """Return the secret of an Authorization header, and whether a browser may send it of its own accord."""
    scheme, _, rest = authorization[:LONGEST_CREDENTIALS].partition(" ")
    rest = rest.strip()
    if scheme.lower() == "bearer":
        return rest.encode("utf-8", "replace"), False
    if scheme.lower() == "basic":  # RFC 7617: any user name, the token as the password
        try:
            _, _, password = base64.b64decode(rest, validate=True).partition(b":")
        except (binascii.Error, ValueError):
            return b"", True
        return password, True
    return b"", True
