"""Asks the running agent over HTTP: where it is, whom to trust, with which token; every failure is one sentence."""

from __future__ import annotations

import os
import re
import ssl
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlsplit

import httpx
import typer

from portdraw.cli.problems import COULD_NOT_READ, WRONG_INPUT, tell
from portdraw.reporting.http.access import Permission
from portdraw.reporting.http.rate import is_loopback
from portdraw.reporting.plain_text import plain
from portdraw.service.settings import LoadedSettings, SettingsError, load_settings
from portdraw.service.tls_files import tls_files
from portdraw.service.web_access import token_secret

TIMEOUT_S = 5.0
NO_TLS = "no TLS"
TOKEN_VARIABLE = "PORTDRAW_TOKEN"  # noqa: S105 - its name
_FIRST_CERTIFICATE = re.compile("-----BEGIN CERTIFICATE-----.*?-----END CERTIFICATE-----", re.DOTALL)

SettingsOption = Annotated[
    Path | None, typer.Option(help="The agent's settings file: where it listens, and its tokens.")
]
UrlOption = Annotated[str | None, typer.Option(help="The agent's address, such as http://127.0.0.1:8437.")]
CaOption = Annotated[
    Path | None, typer.Option("--ca", help="With --url: certificates in PEM form to trust; else the machine's own.")
]
CertificateOption = Annotated[Path | None, typer.Option(help="Certificate to show to the agent, in PEM form.")]
KeyOption = Annotated[Path | None, typer.Option(help="Its key, in PEM form.")]


@dataclass(frozen=True)
class AgentClient:
    """Where the agent is and how it is asked. `token_from` says where the token stands."""

    url: str
    token: str | None = field(default=None, repr=False)
    token_from: str = ""
    tls: ssl.SSLContext | None = field(default=None, repr=False)

    def ask(self, method: str, path: str, body: dict[str, Any] | None = None) -> httpx.Response:
        """Return the agent's answer; ends the command with one sentence where there is none or it lets nobody in."""
        headers = {} if self.token is None else {"authorization": f"Bearer {self.token}"}
        try:
            with httpx.Client(timeout=TIMEOUT_S, trust_env=False, verify=self.tls or True) as client:
                answer = client.request(method, f"{self.url}{path}", json=body, headers=headers)
        except (httpx.HTTPError, httpx.InvalidURL, ValueError) as error:
            tell(self._no_answer(error))
            raise typer.Exit(COULD_NOT_READ) from None
        if answer.status_code in (401, 403, 421):
            tell(f"the agent at {plain(self.url)} refuses: {plain(answer.text.strip())}{self._token_hint(answer)}")
            raise typer.Exit(WRONG_INPUT)
        return answer

    def json(self, answer: httpx.Response) -> dict[str, Any]:
        """Return an answer's JSON object; ends the command with one sentence where it is none."""
        try:
            found = answer.json()
        except ValueError:
            tell(f"no portdraw agent answers at {plain(self.url)}; is it running?")
            raise typer.Exit(COULD_NOT_READ) from None
        if not isinstance(found, dict):
            self.stranger()
        return dict(found)

    def stranger(self) -> None:
        """End the command: what answers is no agent of ours."""
        tell(f"what answers at {plain(self.url)} is no portdraw agent of this version")
        raise typer.Exit(COULD_NOT_READ)

    def _token_hint(self, answer: httpx.Response) -> str:
        if answer.status_code != httpx.codes.UNAUTHORIZED:
            return ""
        if self.token is None:
            return f" (put it into {TOKEN_VARIABLE}, or give --settings of an agent that has tokens)"
        return f" (it comes from {self.token_from})"

    def _no_answer(self, error: BaseException) -> str:
        reason = _tls_reason(error)
        if reason == NO_TLS:
            return (
                f"what listens at {plain(self.url)} does not speak TLS; if it speaks plain HTTP, {self._try('http')}"
            )
        if reason:
            return f"no TLS with the agent at {plain(self.url)}: {reason}"
        hangs_up = isinstance(error, (httpx.ReadError, httpx.RemoteProtocolError))
        if self.tls is None and hangs_up:
            return (
                f"what listens at {plain(self.url)} does not speak plain HTTP; if it speaks TLS, {self._try('https')}"
            )
        if self.tls is not None and hangs_up:
            return f"the agent at {plain(self.url)} hangs up; it may ask for a certificate (--certificate, --key)"
        return f"no portdraw agent answers at {plain(self.url)}; is it running?"

    def _try(self, scheme: str) -> str:
        return f"write {scheme}://{plain(self.url.partition('://')[2])}"


def agent_client(
    settings: Path | None,
    url: str | None,
    scope: Permission,
    ca: Path | None = None,
    certificate: Path | None = None,
    key: Path | None = None,
) -> AgentClient:
    """Return how to ask, from settings or options. Ends the command with one sentence where they don't say it.

    With settings the agent's own certificate is trusted, and no other, whatever name is in it. The token is that
    of the environment, else the first of the settings that has the scope.
    """
    token = os.environ.get(TOKEN_VARIABLE) or None
    if url is not None:
        _refuse_bad_url(url, token)
        return AgentClient(url.rstrip("/"), token, TOKEN_VARIABLE, _context(url, ca, certificate, key))
    if settings is None:
        tell("say where the agent is: --settings FILE or --url http://127.0.0.1:8437")
        raise typer.Exit(WRONG_INPUT)
    loaded = load_settings(settings)
    listen = loaded.settings.listen
    if listen.tls is not None and listen.tls.client_ca is not None and not listen.tokens and certificate is None:
        tell("this agent asks every client for a certificate: give --certificate and --key")
        raise typer.Exit(WRONG_INPUT)
    token_from = TOKEN_VARIABLE
    if token is None:
        secret = token_secret(loaded, scope)
        token = None if secret is None else secret.decode("ascii", "replace")
        token_from = f"{loaded.path}; a running agent knows the tokens of its own start"
    return AgentClient(listen.url, token, token_from, _pinned(loaded, certificate, key))


def _refuse_bad_url(url: str, token: str | None) -> None:
    if not url.startswith(("http://", "https://")):
        tell(f"--url {plain(url)} is no address such as http://127.0.0.1:8437")
        raise typer.Exit(WRONG_INPUT)
    try:
        host = urlsplit(url).hostname or ""
    except ValueError:
        host = ""
    if token is not None and url.startswith("http://") and host != "localhost" and not is_loopback(host):
        tell(f"--url {plain(url)}: a token is not sent in clear beyond this machine; use https://")
        raise typer.Exit(WRONG_INPUT)


def _context(url: str, ca: Path | None, certificate: Path | None, key: Path | None) -> ssl.SSLContext | None:
    if not url.startswith("https://"):
        return None
    try:
        context = ssl.create_default_context(cafile=None if ca is None else str(ca))
    except (OSError, ssl.SSLError):
        raise SettingsError(f"--ca: {ca} can't be read, or holds no certificate in PEM") from None
    return _with_certificate(context, certificate, key)


def _pinned(loaded: LoadedSettings, certificate: Path | None, key: Path | None) -> ssl.SSLContext | None:
    """Return a context that trusts the agent's own certificate alone."""
    files = tls_files(loaded)
    if files is None:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.check_hostname = False  # the certificate itself is known, so its names say nothing more
    context.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
    try:
        first = _FIRST_CERTIFICATE.search(files.certificate.read_text("ascii", "replace"))
        context.load_verify_locations(cadata="" if first is None else first.group())
    except OSError as error:
        raise SettingsError(
            f"{files.where_certificate}: {files.certificate} can't be read: {error.strerror}"
        ) from None
    except (ssl.SSLError, ValueError):
        raise SettingsError(f"{files.where_certificate}: {files.certificate} holds no certificate in PEM") from None
    return _with_certificate(context, certificate, key)


def _with_certificate(context: ssl.SSLContext, certificate: Path | None, key: Path | None) -> ssl.SSLContext:
    if certificate is None:
        return context
    try:
        context.load_cert_chain(certificate, key, password=lambda: b"")
    except (OSError, ssl.SSLError, ValueError):
        raise SettingsError(f"--certificate: {certificate} and its key can't be read as PEM, or don't fit") from None
    return context


def _tls_reason(error: BaseException) -> str:
    """Return why TLS failed, "" where it was something else."""
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, ssl.SSLCertVerificationError):
            return f"its certificate is not trusted ({plain(seen.verify_message)})"
        if isinstance(seen, ssl.SSLError):
            if "CERTIFICATE_REQUIRED" in (seen.reason or "") or "HANDSHAKE_FAILURE" in (seen.reason or ""):
                return "it asks for a client's certificate (--certificate, --key)"
            return NO_TLS
        seen = seen.__cause__ or seen.__context__
    return ""
