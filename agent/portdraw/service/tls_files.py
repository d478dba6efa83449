"""The certificate that is shown to clients, from its files; whatever is wrong with them is one sentence."""

from __future__ import annotations

import ssl
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from cryptography import x509

from portdraw.service.settings import LoadedSettings, SettingsError

SOON_S = 21 * 86_400.0  # common practice: three weeks are enough to get a new certificate
_MOST_OCTETS = 1_000_000


@dataclass(frozen=True)
class TlsFiles:
    """The files, and how errors name each of them. `certificates_needed`: clients must show one."""

    certificate: Path
    key: Path
    client_ca: Path | None
    certificates_needed: bool
    where_certificate: str
    where_key: str
    where_client_ca: str

    @property
    def stamp(self) -> tuple[float, ...]:
        """What changes when a file is replaced; empty where one is not there."""
        try:
            return tuple(path.stat().st_mtime for path in (self.certificate, self.key))
        except OSError:
            return ()


def tls_files(loaded: LoadedSettings) -> TlsFiles | None:
    """Return the files of the settings, None without TLS."""
    listen = loaded.settings.listen
    if listen.tls is None:
        return None
    client_ca = listen.tls.client_ca
    return TlsFiles(
        certificate=loaded.beside(listen.tls.certificate),
        key=loaded.beside(listen.tls.key),
        client_ca=None if client_ca is None else loaded.beside(client_ca),
        certificates_needed=client_ca is not None and not listen.tokens,
        where_certificate=loaded.where("listen", "tls", "certificate"),
        where_key=loaded.where("listen", "tls", "key"),
        where_client_ca=loaded.where("listen", "tls", "client_ca"),
    )


def server_context(files: TlsFiles) -> ssl.SSLContext:
    """Return what a server needs to speak TLS 1.2 or newer. Raises SettingsError with one sentence."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    load_pair(context, files)
    if files.client_ca is not None:
        _read(files.client_ca, files.where_client_ca)
        try:
            context.load_verify_locations(files.client_ca)
        except ssl.SSLError:
            raise SettingsError(f"{files.where_client_ca}: {files.client_ca} holds no certificate in PEM") from None
        context.verify_mode = ssl.CERT_REQUIRED if files.certificates_needed else ssl.CERT_OPTIONAL
    return context


def load_pair(context: ssl.SSLContext, files: TlsFiles) -> None:
    """Load certificate and key, for all connections from now on. Raises SettingsError with one sentence."""
    first_certificate(files)
    if b"ENCRYPTED" in _read(files.key, files.where_key):
        raise SettingsError(f"{files.where_key}: {files.key} is locked with a password; a service needs one without")
    try:
        context.load_cert_chain(files.certificate, files.key)
    except ssl.SSLError as error:
        if error.reason == "KEY_VALUES_MISMATCH":
            sentence = f"{files.key} is not the key of the certificate in {files.certificate}"
        elif error.reason in ("EE_KEY_TOO_SMALL", "CA_KEY_TOO_SMALL", "CA_MD_TOO_WEAK"):
            raise SettingsError(
                f"{files.where_certificate}: {files.certificate} is too weak for TLS of today; make a new one"
            ) from None
        else:
            sentence = f"{files.key} holds no private key in PEM"
        raise SettingsError(f"{files.where_key}: {sentence}") from None


def first_certificate(files: TlsFiles) -> x509.Certificate:
    """Return the agent's own certificate, the first of its file. Raises SettingsError with one sentence."""
    data = _read(files.certificate, files.where_certificate)
    try:
        return x509.load_pem_x509_certificates(data)[0]
    except ValueError:
        raise SettingsError(f"{files.where_certificate}: {files.certificate} holds no certificate in PEM") from None


def validity_words(certificate: x509.Certificate, now_s: float) -> str:
    """Return what is wrong with a certificate's time at `now_s` [s since the epoch], "" where nothing is."""
    now = datetime.fromtimestamp(now_s, UTC)
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if now > ends:
        return f"expired on {ends:%Y-%m-%d %H:%M} UTC; clients refuse it"
    if now < begins:
        return f"is not valid before {begins:%Y-%m-%d %H:%M} UTC; clients refuse it until then (is the clock right?)"
    if (ends - now).total_seconds() < SOON_S:
        return f"expires on {ends:%Y-%m-%d %H:%M} UTC"
    return ""


def _read(path: Path, where: str) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_MOST_OCTETS)
    except FileNotFoundError:
        raise SettingsError(f"{where}: there is no file {path}") from None
    except OSError as error:
        raise SettingsError(f"{where}: {path} can't be read: {error.strerror}") from None
