"""Triple DES, which net-snmp lacks, and the keys of every cipher, worked out here from the documents once more."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest
from pysnmp.entity import config
from pysnmp.proto.rfc1902 import OctetString
from tests.reading.polling import opened, run

from portdraw.reading.access import User
from portdraw.reading.engine import ReadError, parse_address
from portdraw.reading.varbind import Varbind, parse_oid
from portdraw.rehearsal.agents import Agent
from portdraw.rehearsal.credentials import Credentials
from portdraw.rehearsal.mib_map import MibMap, Row

ENGINE_ID = bytes.fromhex("000000000000000000000002")  # of the examples of RFC 3414, A.3
AUTH = {
    "md5": (config.USM_AUTH_HMAC96_MD5, "md5"),
    "sha1": (config.USM_AUTH_HMAC96_SHA, "sha1"),
    "sha224": (config.USM_AUTH_HMAC128_SHA224, "sha224"),
    "sha256": (config.USM_AUTH_HMAC192_SHA256, "sha256"),
    "sha384": (config.USM_AUTH_HMAC256_SHA384, "sha384"),
    "sha512": (config.USM_AUTH_HMAC384_SHA512, "sha512"),
}
REEDER = {"3des": (config.USM_PRIV_CBC168_3DES, 32), "aes192": (config.USM_PRIV_CFB192_AES, 24)}
REEDER["aes256"] = (config.USM_PRIV_CFB256_AES, 32)
BLUMENTHAL = {
    "aes192-blumenthal": (config.USM_PRIV_CFB192_AES_BLUMENTHAL, 24),
    "aes256-blumenthal": (config.USM_PRIV_CFB256_AES_BLUMENTHAL, 32),
}


def localized(passphrase: bytes, digest: str) -> bytes:
    """Return a localised key (RFC 3414, A.2): a megabyte of passphrase digested, then again with the engine."""
    whole = (passphrase * (1_048_576 // len(passphrase) + 1))[:1_048_576]
    key = hashlib.new(digest, whole).digest()
    return hashlib.new(digest, key + ENGINE_ID + key).digest()


def longer(key: bytes, size: int, digest: str, by_passphrase: bool) -> bytes:
    """Return a key made longer: by localising the key as if it were a passphrase, or by digesting what there is."""
    while len(key) < size:
        key += localized(key, digest) if by_passphrase else hashlib.new(digest, key).digest()
    return key[:size]


def of_library(privacy: tuple[int, ...], auth: tuple[int, ...], passphrase: bytes) -> bytes:
    service: Any = config.PRIV_SERVICES[privacy]
    master = service.hash_passphrase(auth, passphrase)
    return bytes(service.localize_key(auth, master, OctetString(ENGINE_ID)))


def test_our_own_working_out_agrees_with_the_document() -> None:
    """RFC 3414, A.3.1 and A.3.2, passphrase "maplesyrup"."""
    assert localized(b"maplesyrup", "md5").hex() == "526f5eed9fcce26f8964c2930787d82b"
    assert localized(b"maplesyrup", "sha1").hex() == "6695febc9288e36282235fc7151f128497b38f3f"


@pytest.mark.parametrize("auth", AUTH)
@pytest.mark.parametrize("privacy", [*REEDER, *BLUMENTHAL])
def test_long_keys_are_made_as_the_two_drafts_say(auth: str, privacy: str) -> None:
    """draft-reeder-snmpv3-usm-3desede-00, 2.1, and draft-blumenthal-aes-usm-04, 3.1.2.1."""
    protocol, digest = AUTH[auth]
    cipher, size = (REEDER | BLUMENTHAL)[privacy]
    expected = longer(localized(b"maplesyrup", digest), size, digest, privacy in REEDER)
    assert of_library(cipher, protocol, b"maplesyrup") == expected


class TripleDesAgent(Agent):
    """The rehearsal's agent with one user more; the library's own agent side is all there is for this cipher."""

    user = User("u-3des", "sha1", b"correct horse one", "3des", b"correct horse two")

    def _make_engine(self) -> Any:
        engine = super()._make_engine()
        one = self.user
        auth, privacy = AUTH[one.auth][0], config.USM_PRIV_CBC168_3DES
        config.add_v3_user(engine, one.user, auth, one.auth_secret, privacy, one.privacy_secret)
        return engine


@pytest.mark.parametrize("auth", AUTH)
def test_triple_des_against_the_library_s_agent(auth: str) -> None:
    oid = parse_oid("1.3.6.1.2.1.1.5.0")
    right = User("u-3des", auth, b"correct horse one", "3des", b"correct horse two")
    wrong = User("u-3des", auth, b"correct horse one", "3des", b"wrong secret two")

    async def work() -> tuple[tuple[Varbind, ...], str]:
        agent = TripleDesAgent(
            MibMap([Row(oid, "octets", lambda: b"mast 3")], lambda: 0),
            Credentials("demo", "demo-auth-secret", "demo-privacy-secret", "demo-community"),
            lambda: True,
        )
        agent.user = right
        target = parse_address(f"127.0.0.1:{await agent.start()}", "right")
        try:
            async with opened({"right": right, "wrong": wrong}) as engine:
                found = (await engine.get(target, [oid], 5)).varbinds
                with pytest.raises(ReadError) as caught:
                    await engine.get(parse_address(str(target), "wrong"), [oid], 1)
                return found, str(caught.value)
        finally:
            agent.stop()

    (varbind,), refusal = run(work)
    assert (varbind.oid, varbind.value) == (oid, b"mast 3")
    assert "privacy" in refusal
