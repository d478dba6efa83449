"""Warns of secrets that every user of the machine can read."""

from __future__ import annotations

from portdraw.cli.problems import tell
from portdraw.service.secrets_of import is_file_open_to_all, is_open_to_all
from portdraw.service.settings import LoadedSettings


def warn_of_open_secrets(loaded: LoadedSettings) -> None:
    """Print one sentence for each secret file of the settings, and the key of TLS, that anybody may read."""
    named = [
        (f"access {name}", secret)
        for name, access in loaded.settings.access.items()
        for secret in (access.community, access.auth_secret, access.privacy_secret)
    ]
    named += [
        (f"receiver {name}", secret)
        for name, receiver in loaded.settings.receivers.items()
        for secret in (receiver.secret, receiver.token, receiver.password)
    ]
    named += [(f"token {name}", token.secret) for name, token in loaded.settings.listen.tokens.items()]
    for what, secret in named:
        if secret is not None and is_open_to_all(secret, loaded.path.parent):
            tell(f"{what}: every user of this machine can read {secret.file}; make it chmod 600")
    tls = loaded.settings.listen.tls
    if tls is not None and is_file_open_to_all(loaded.beside(tls.key)):
        tell(f"listen tls key: every user of this machine can read {tls.key}; make it chmod 600")
