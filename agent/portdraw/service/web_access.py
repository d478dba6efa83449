"""Who is let in to pages, metrics and API: the settings' tokens with their secrets, made into rules."""

from __future__ import annotations

from portdraw.reporting.http.access import Access, Permission, Token, make_token
from portdraw.reporting.http.guard import Rules
from portdraw.service.listen_settings import LOOPBACK_NAMES, TokenSettings
from portdraw.service.secrets_of import fetch
from portdraw.service.settings import LoadedSettings, SettingsError


def web_rules(loaded: LoadedSettings) -> Rules:
    """Return how the application is guarded. Raises SettingsError with one sentence, never with a secret."""
    listen = loaded.settings.listen
    tokens = tuple(_token(loaded, name, entry) for name, entry in listen.tokens.items())
    for number, token in enumerate(tokens):
        if any(token.digest == other.digest for other in tokens[:number]):
            raise SettingsError(f"{_where(loaded, token.name)}: another token has the same secret")
    access = Access(tokens, client_certificates=listen.tls is not None and listen.tls.client_ca is not None)
    names = frozenset(name.lower() for name in (*listen.names, *LOOPBACK_NAMES)) if access.is_open else None
    behind_proxy = listen.plain_http == "behind-proxy"
    return Rules(access, names, tls=listen.tls is not None, behind_proxy=behind_proxy)


def token_secret(loaded: LoadedSettings, scope: Permission) -> bytes | None:
    """Return the secret of the first token with a scope, None without one. Raises SettingsError."""
    for name, entry in loaded.settings.listen.tokens.items():
        if scope.value in entry.scopes:
            return fetch(entry.secret, loaded.path.parent, _where(loaded, name))
    return None


def _token(loaded: LoadedSettings, name: str, entry: TokenSettings) -> Token:
    where = _where(loaded, name)
    secret = fetch(entry.secret, loaded.path.parent, where)
    try:
        return make_token(name, secret, frozenset(Permission(scope) for scope in entry.scopes))
    except ValueError as error:
        raise SettingsError(f"{where}: {error}") from None


def _where(loaded: LoadedSettings, name: str) -> str:
    return f"{loaded.where('listen', 'tokens', name, 'secret')}.{name}"
