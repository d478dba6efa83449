"""Makes the listener for notifications as the settings say it: its socket, its accesses, and whose hints count."""

from __future__ import annotations

import socket
from collections.abc import Callable, Mapping

from portdraw.plan.plan_error import PlanError, Problem
from portdraw.plan.site import Site
from portdraw.reading.access import Access, User
from portdraw.reading.catalogue import Catalogue
from portdraw.reading.engine import parse_address
from portdraw.reading.notification_gate import Senders
from portdraw.reading.notification_listener import Hint, NotificationListener
from portdraw.service.settings import LoadedSettings, SettingsError

RECEIVE_BUFFER_OCTETS = 256 * 1024  # some hundred notifications at once


def notification_accesses(loaded: LoadedSettings, known: Mapping[str, Access]) -> dict[str, Access]:
    """Return the accesses by which notifications may come. Raises PlanError with the place of a wrong name."""
    settings = loaded.settings.notifications
    found: dict[str, Access] = {}
    problems: list[Problem] = []
    for at, name in enumerate(settings.access if settings is not None else ()):
        sentence = ""
        access = known.get(name)
        if access is None:
            sentence = f"{name!r} is not declared under access (declared: {', '.join(known) or 'none'})"
        elif isinstance(access, User):
            users = [other for other in found.values() if isinstance(other, User)]
            if any(other.user == access.user and other != access for other in users):
                sentence = f"{name!r} has the user of another access of this list, with other secrets or algorithms"
        if sentence:
            problems.append(
                Problem(*loaded.mark("notifications", "access", at), f"notifications.access[{at + 1}]", sentence)
            )
        elif access is not None:
            found[name] = access
    if problems:
        raise PlanError(str(loaded.path), problems)
    return found


def hint_listener(
    loaded: LoadedSettings,
    site: Site,
    accesses: Mapping[str, Access],
    catalogue: Catalogue,
    on_hint: Callable[[Hint], None],
) -> NotificationListener | None:
    """Return the listener with its socket bound, None where the settings want none. Raises SettingsError."""
    settings = loaded.settings.notifications
    if settings is None:
        return None
    readable = {name: unit for name, unit in site.units.items() if unit.readable}
    senders = Senders({name: parse_address(unit.address or "", unit.access) for name, unit in readable.items()})
    sock = _bind(settings.host, settings.port)
    name = f"{socket.gethostname()} {settings.port}"
    try:
        known = notification_accesses(loaded, accesses)
        return NotificationListener(sock, known, senders, catalogue, on_hint, name)
    except BaseException:
        sock.close()
        raise


def _bind(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    sock = socket.socket(family, socket.SOCK_DGRAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER_OCTETS)
        sock.bind((host, port))
    except OSError as error:
        sock.close()
        more = "; a port below 1024 needs a privilege" if isinstance(error, PermissionError) else ""
        raise SettingsError(f"notifications: {host}:{port} can't be used: {error.strerror}{more}") from None
    sock.setblocking(False)
    return sock
