"""Makes the notifiers of the settings' receivers: addresses checked, secrets fetched, certificates read."""

from __future__ import annotations

import ssl
from functools import partial
from pathlib import Path

from portdraw.reporting.notify.alertmanager import Alertmanager
from portdraw.reporting.notify.attempt import Notifier
from portdraw.reporting.notify.receiver_address import why_refused
from portdraw.reporting.notify.syslog import Syslog
from portdraw.reporting.notify.syslog_message import FACILITIES
from portdraw.reporting.notify.webhook import Webhook
from portdraw.service.receiver_settings import SCHEMES, WITH_TLS, Receiver
from portdraw.service.secrets_of import all_or_every_fault, fetch
from portdraw.service.settings import LoadedSettings, SettingsError
from portdraw.service.settings_part import Secret

USUAL_FACILITY = "local0"


def notifiers(loaded: LoadedSettings, *, emulated: bool) -> dict[str, Notifier]:
    """Return a notifier for each receiver. Raises SettingsError, one line for each that can't be.

    An emulated site may tell receivers on this machine only: any other is refused here.
    """
    known = loaded.settings.receivers
    return all_or_every_fault({name: partial(_notifier, loaded, name, one, emulated) for name, one in known.items()})


def _notifier(loaded: LoadedSettings, name: str, receiver: Receiver, emulated: bool) -> Notifier:
    refused = why_refused(receiver.url, emulated, SCHEMES[receiver.kind])
    if refused:
        raise SettingsError(f"{loaded.where('receivers', name, receiver.kind)}: {refused}")
    tls = _tls(loaded, name, receiver)
    if receiver.kind == "syslog":
        return Syslog(receiver.url, FACILITIES[receiver.facility or USUAL_FACILITY], tls)
    if receiver.kind == "alertmanager":
        token = _secret(loaded, name, "token", receiver.token)
        password = _secret(loaded, name, "password", receiver.password)
        return Alertmanager(receiver.url, token, receiver.user, password, tls)
    return Webhook(receiver.url, _secret(loaded, name, "secret", receiver.secret), tls)


def _secret(loaded: LoadedSettings, name: str, key: str, secret: Secret | None) -> bytes | None:
    if secret is None:
        return None
    return fetch(secret, loaded.path.parent, loaded.where("receivers", name, key))


def _tls(loaded: LoadedSettings, name: str, receiver: Receiver) -> ssl.SSLContext | None:
    """Return which certificates are trusted: those of `ca` alone where it is given, else the machine's."""
    if not receiver.url.lower().startswith(WITH_TLS):
        return None
    if receiver.ca is None:
        return ssl.create_default_context()
    path = loaded.path.parent / Path(receiver.ca)
    where = loaded.where("receivers", name, "ca")
    try:
        return ssl.create_default_context(cafile=path)
    except FileNotFoundError:
        raise SettingsError(f"{where}: there is no file {path}") from None
    except ssl.SSLError:
        raise SettingsError(f"{where}: {path} holds no certificate in PEM form") from None
    except OSError as error:
        raise SettingsError(f"{where}: {path} can't be read: {error.strerror}") from None
