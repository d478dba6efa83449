"""Certificate and key: whatever is wrong with their files is one sentence that names the place in the settings."""

from __future__ import annotations

import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme
from cryptography.hazmat.primitives import serialization
from tests.service.certificates import TLS, TLS_WITH_CA, write_certificate
from tests.service.slipway import changed, write_folder

from portdraw.service.settings import SettingsError, load_settings
from portdraw.service.tls_files import SOON_S, TlsFiles, first_certificate, server_context, tls_files, validity_words


def files_in(folder: Path, listen: str = TLS) -> TlsFiles:
    loaded = load_settings(write_folder(folder, changed("port: 0", f"port: 0, {listen}")))
    found = tls_files(loaded)
    assert found is not None
    return found


def refusal(folder: Path, listen: str = TLS) -> str:
    with pytest.raises(SettingsError) as caught:
        server_context(files_in(folder, listen))
    told = str(caught.value)
    assert "\n" not in told
    assert told.startswith(f"{folder / 'settings.yaml'}:4:")
    return told.partition(": ")[2]


def test_what_fits_is_taken_and_old_tls_is_not_spoken(tmp_path: Path) -> None:
    """RFC 8996: TLS before 1.2 is deprecated."""
    write_certificate(tmp_path, trustme.CA())
    context = server_context(files_in(tmp_path))
    assert context.minimum_version is ssl.TLSVersion.TLSv1_2
    assert context.verify_mode is ssl.CERT_NONE
    assert server_context(files_in(tmp_path, TLS_WITH_CA)).verify_mode is ssl.CERT_REQUIRED
    with_tokens = f"{TLS_WITH_CA}, tokens: {{a: {{secret: {{file: a}}}}}}"
    assert server_context(files_in(tmp_path, with_tokens)).verify_mode is ssl.CERT_OPTIONAL


def test_files_that_are_not_there_or_hold_something_else(tmp_path: Path) -> None:
    assert refusal(tmp_path) == f"listen.tls.certificate: there is no file {tmp_path / 'tls.crt'}"
    leaf = write_certificate(tmp_path, trustme.CA())
    (tmp_path / "ca.crt").write_text("no certificate")
    assert (
        refusal(tmp_path, TLS_WITH_CA) == f"listen.tls.client_ca: {tmp_path / 'ca.crt'} holds no certificate in PEM"
    )
    (tmp_path / "tls.key").write_text("no key")
    assert refusal(tmp_path) == f"listen.tls.key: {tmp_path / 'tls.key'} holds no private key in PEM"
    (tmp_path / "tls.key").unlink()
    assert refusal(tmp_path) == f"listen.tls.key: there is no file {tmp_path / 'tls.key'}"
    (tmp_path / "tls.key").mkdir()
    assert refusal(tmp_path) == f"listen.tls.key: {tmp_path / 'tls.key'} can't be read: Is a directory"
    (tmp_path / "tls.crt").write_bytes(leaf.private_key_pem.bytes())
    assert refusal(tmp_path) == f"listen.tls.certificate: {tmp_path / 'tls.crt'} holds no certificate in PEM"
    (tmp_path / "tls.crt").write_bytes(b"\xff\x00")
    assert "holds no certificate in PEM" in refusal(tmp_path)


def test_a_key_of_another_certificate(tmp_path: Path) -> None:
    ca = trustme.CA()
    write_certificate(tmp_path, ca)
    ca.issue_cert("other.example").private_key_pem.write_to_path(tmp_path / "tls.key")
    assert refusal(tmp_path) == (
        f"listen.tls.key: {tmp_path / 'tls.key'} is not the key of the certificate in {tmp_path / 'tls.crt'}"
    )


def test_a_key_with_a_password_does_not_make_the_service_ask_for_it(tmp_path: Path) -> None:
    leaf = write_certificate(tmp_path, trustme.CA())
    key = serialization.load_pem_private_key(leaf.private_key_pem.bytes(), None)
    locked = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(b"sesame"),
    )
    (tmp_path / "tls.key").write_bytes(locked)
    assert refusal(tmp_path) == (
        f"listen.tls.key: {tmp_path / 'tls.key'} is locked with a password; a service needs one without"
    )


def test_how_long_a_certificate_holds_is_said_in_time(tmp_path: Path) -> None:
    write_certificate(tmp_path, trustme.CA(), days=100)
    certificate = first_certificate(files_in(tmp_path))
    ends, begins = certificate.not_valid_after_utc, certificate.not_valid_before_utc
    for moment, words in (
        (datetime.now(UTC), ""),
        (ends - timedelta(seconds=SOON_S + 60), ""),
        (ends - timedelta(seconds=SOON_S - 60), f"expires on {ends:%Y-%m-%d %H:%M} UTC"),
        (ends + timedelta(seconds=1), f"expired on {ends:%Y-%m-%d %H:%M} UTC; clients refuse it"),
        (begins - timedelta(seconds=1), "clients refuse it until then (is the clock right?)"),
    ):
        told = validity_words(certificate, moment.timestamp())
        assert told.endswith(words)
        assert bool(told) is bool(words)
