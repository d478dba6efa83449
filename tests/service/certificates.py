"""Certificates for tests: an authority of our own, and what it signs. Made by trustme."""

from __future__ import annotations

import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import trustme

TLS = "tls: {certificate: tls.crt, key: tls.key}"
TLS_WITH_CA = "tls: {certificate: tls.crt, key: tls.key, client_ca: ca.crt}"


def write_certificate(folder: Path, ca: trustme.CA, days: int = 365, begins_days_ago: int = 1) -> trustme.LeafCert:
    """Write tls.crt, tls.key and ca.crt for 127.0.0.1 into a folder; with `days` below 0 it has expired."""
    now = datetime.now(UTC)
    begins = now - timedelta(days=begins_days_ago if days > 0 else 400)
    leaf = ca.issue_cert("127.0.0.1", not_before=begins, not_after=now + timedelta(days=days))
    leaf.cert_chain_pems[0].write_to_path(folder / "tls.crt")
    leaf.private_key_pem.write_to_path(folder / "tls.key")
    ca.cert_pem.write_to_path(folder / "ca.crt")
    return leaf


def client_context(ca: trustme.CA, shown: trustme.LeafCert | None = None) -> ssl.SSLContext:
    """Return what a client trusts, and what it shows."""
    context = ssl.create_default_context()
    ca.configure_trust(context)
    if shown is not None:
        shown.configure_cert(context)
    return context
