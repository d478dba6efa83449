"""Listens for SNMP traps and informs (v1, v2c, v3), and answers informs. With `pysnmp_engine` the other module of
reading that imports the SNMP library.

A notification is a hint at a unit that is worth reading now, never a fact: nothing of its content is believed, and
senders that are no unit of this site are counted, not obeyed. Who comes with a wrong community, user, secret or with
less security than was agreed is counted too.
"""

from __future__ import annotations

import asyncio
import hashlib
import logging
import socket
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Literal

from pyasn1.error import PyAsn1Error
from pysnmp.carrier.asyncio.dgram import udp, udp6
from pysnmp.carrier.asyncio.dispatch import AsyncioDispatcher
from pysnmp.entity import config
from pysnmp.entity.engine import SnmpEngine
from pysnmp.entity.rfc3413.ntfrcv import NotificationReceiver
from pysnmp.error import PySnmpError
from pysnmp.proto import rfc1902
from pysnmp.smi.error import NoSuchInstanceError

from portdraw.reading.access import Access, Community, User
from portdraw.reading.catalogue import Catalogue
from portdraw.reading.notification_gate import Fate, Gate, NotificationCounts, Senders
from portdraw.reading.notification_header import Header, header_of
from portdraw.reading.pysnmp_engine import AUTH, PRIVACY, SHORTEST_SECRET, drop_security_states, level_of
from portdraw.reading.varbind import Oid, oid_text

log = logging.getLogger("portdraw.notifications")
TRAP_OID = (1, 3, 6, 1, 6, 3, 1, 1, 4, 1, 0)  # SNMPv2-MIB, snmpTrapOID.0 (RFC 3418)
# enterprise 32473 (documentation, RFC 5612), format 5: octets (RFC 3411, SnmpEngineID)
ENGINE_ID_HEAD = bytes([0x80, 0x00, 0x7E, 0xD9, 0x05])
LOOK_UP_EVERY_S = 300.0
MOST_STRANGERS_NAMED = 10
HOUSEKEEPING_S = 1.0
# what the library counts when it refuses a message for who sent it (RFC 3414, section 5), and while two engines
# get to know each other
_REFUSALS = ("usmStatsUnknownUserNames", "usmStatsWrongDigests", "usmStatsUnsupportedSecLevels")
_MEETINGS = ("usmStatsUnknownEngineIDs", "usmStatsNotInTimeWindows")
_CANNOT_DECRYPT = "usmStatsDecryptionErrors"


@dataclass(frozen=True)
class Hint:
    """Units that are worth reading now: what they sent, in words, and what is to be read of them."""

    units: tuple[str, ...]
    notification: Oid
    words: str
    reads: Literal["cycle", "slow", "nothing"]


class _Receiver(NotificationReceiver):  # type: ignore[misc]  # the library carries no types
    """Takes a notification of the agreed security, answers an inform; nothing in it makes the library trip."""

    def __init__(self, engine: SnmpEngine, levels: Mapping[bytes, int], take: Callable[[Oid | None], None]) -> None:
        super().__init__(engine, self._took)
        self._levels = levels
        self._take = take
        self.refused = False

    def process_pdu(self, engine: Any, model: Any, security: Any, name: Any, level: Any, *rest: Any) -> None:
        """Check the security level, then go on as usual."""
        if int(model) == 3 and int(level) < self._levels.get(bytes(name), 3):
            self.refused = True
            return
        with suppress(PySnmpError, PyAsn1Error, ValueError, TypeError, IndexError, KeyError):
            super().process_pdu(engine, model, security, name, level, *rest)

    def _took(self, engine: Any, state: Any, context_id: Any, context: Any, bindings: Any, _: Any) -> None:
        found = [value for name, value in bindings if tuple(name) == TRAP_OID]
        self._take(tuple(int(arc) for arc in found[0]) if found else None)


class NotificationListener:
    """Hears what comes to a bound socket. `on_hint` is called in the event loop; make and use it inside one loop.

    Our own engine id follows from `name`: the same after every restart, another for another listener.
    """

    def __init__(
        self,
        sock: socket.socket,
        accesses: Mapping[str, Access],
        senders: Senders,
        catalogue: Catalogue,
        on_hint: Callable[[Hint], None],
        name: str = "portdraw",
    ) -> None:
        self._sock = sock
        self._gate = Gate(senders)
        self._catalogue = catalogue
        self._on_hint = on_hint
        self._communities = {one.community for one in accesses.values() if isinstance(one, Community)}
        users = [one for one in accesses.values() if isinstance(one, User)]
        self._levels = {one.user.encode(): level_of(one.auth, one.privacy) for one in users}
        self._keys = {one.user.encode(): _Keys(one) for one in users}
        self._engine_id = ENGINE_ID_HEAD + hashlib.sha256(name.encode()).digest()[:12]
        self._engine: SnmpEngine | None = None
        self._receiver: _Receiver | None = None
        self._units: tuple[str, ...] = ()  # that the datagram being digested is about
        self._heard = False
        self._strangers: set[str] = set()
        self._looking: asyncio.Task[None] | None = None

    @property
    def port(self) -> int:
        """The UDP port that it listens at."""
        return int(self._sock.getsockname()[1])

    def counts(self) -> NotificationCounts:
        """Return what became of the datagrams so far."""
        return self._gate.counts()

    async def start(self) -> None:
        """Begin to listen."""
        engine = SnmpEngine()
        symbols = engine.get_mib_builder().import_symbols
        # the same id after a restart, as some senders are told it; boots that only grow, without a file of them:
        # minutes since the epoch (RFC 3414, section 2.2.2: at most 2^31 - 1)
        identity, boots = symbols("__SNMP-FRAMEWORK-MIB", "snmpEngineID", "snmpEngineBoots")
        identity.syntax = identity.syntax.clone(self._engine_id)
        engine.snmpEngineID = identity.syntax
        boots.syntax = boots.syntax.clone(int(time.time() / 60))
        for number, community in enumerate(sorted(self._communities)):
            config.add_v1_system(engine, f"community-{number}", rfc1902.OctetString(community))
        # in place of the library's own table of users: it knows keys by the engine of each sender, which nobody tells
        # beforehand, and takes a tenth of a second to enter one
        engine.security_models[3]._SnmpUSMSecurityModel__get_user_info = self._user_info
        self._engine = engine
        self._receiver = _Receiver(engine, self._levels, self._take)
        dispatcher = AsyncioDispatcher(loop=asyncio.get_running_loop())
        dispatcher.set_timer_resolution(HOUSEKEEPING_S)
        engine.register_transport_dispatcher(dispatcher)
        is_v6 = self._sock.family == socket.AF_INET6
        self._sock.setblocking(False)
        transport = self._transport(udp6.Udp6AsyncioTransport if is_v6 else udp.UdpAsyncioTransport)
        domain = udp6.DOMAIN_NAME if is_v6 else udp.DOMAIN_NAME
        config.add_transport(engine, domain, transport.open_server_mode(sock=self._sock))
        await transport._lport
        if self._gate.senders.has_names:
            self._looking = asyncio.create_task(self._look_up(), name="senders of notifications")

    async def close(self) -> None:
        """Let go of the socket."""
        if self._looking is not None:
            self._looking.cancel()
        if self._engine is not None:
            self._engine.close_dispatcher()
            self._engine = None
        self._sock.close()
        await asyncio.sleep(0)

    async def _look_up(self) -> None:
        while True:
            await self._gate.senders.refresh()
            await asyncio.sleep(LOOK_UP_EVERY_S)

    def _transport(self, base: type) -> Any:
        """Return a transport of class `base` that no datagram makes raise."""
        listener = self

        class Transport(base):  # type: ignore[misc]
            def datagram_received(self, datagram: bytes, transportAddress: Any) -> None:  # noqa: N803
                if self._callback_function is not None:
                    listener._digest(datagram, transportAddress, lambda: self._hand_on(datagram, transportAddress))

            def _hand_on(self, datagram: bytes, address: Any) -> None:
                self._callback_function(self, address, datagram)

            def error_received(self, exc: Exception) -> None:
                return  # ICMP: the sender of an inform is gone

        return Transport()

    # one datagram

    def _digest(self, datagram: bytes, sender: Any, hand_on: Callable[[], None]) -> None:
        host, port = str(sender[0]), int(sender[1])
        units = self._gate.admit(host, port, asyncio.get_running_loop().time())
        if not units:
            self._name_stranger(host, port)
            return
        header = header_of(datagram)
        if header is None:
            self._gate.count(Fate.MALFORMED)
        elif not self._may_be_one_of_ours(header):
            self._gate.count(Fate.REFUSED)
        else:
            self._units, self._heard = units, False
            fate = self._hand_to_library(hand_on)
            if fate is not None:
                self._gate.count(fate, units if fate is Fate.TAKEN else ())

    def _may_be_one_of_ours(self, header: Header) -> bool:
        """Refuse early what the library would work for in vain, or would take with too little security."""
        if header.version < 3:
            return header.community in self._communities
        if header.engine_id in (b"", self._engine_id):
            # an inform, or the question before it of who is here; the library checks its level
            return bool(self._keys)
        return header.level >= self._levels.get(header.user, 4) and 5 <= len(header.engine_id) <= 32

    def _hand_to_library(self, hand_on: Callable[[], None]) -> Fate | None:
        """Return what became of a datagram; None for one by which engines get to know each other."""
        engine, receiver = self._engine, self._receiver
        assert engine is not None
        assert receiver is not None
        before, receiver.refused = self._statistics(), False
        tripped = False
        try:
            hand_on()
        except Exception:  # whatever the library can't digest is malformed
            tripped = True
        finally:
            drop_security_states(engine)
            _drop_twins(engine)
        if self._heard:
            return Fate.TAKEN
        rose = {name for name, value in self._statistics().items() if value != before[name]}
        if receiver.refused or rose & {*_REFUSALS, _CANNOT_DECRYPT}:
            return Fate.REFUSED
        return None if rose & set(_MEETINGS) and not tripped else Fate.MALFORMED

    def _take(self, notification: Oid | None) -> None:
        if notification is None:
            return  # without its name it is none
        self._heard = True
        entry = self._catalogue.notification(notification)
        words = entry.words if entry is not None else f"notification {oid_text(notification)}"
        # what is not listed may be the alarm of a supply under a private name: a reading costs little
        hint = Hint(self._units, notification, words, "cycle" if entry is None else entry.reads)
        log.debug("%s: %s", ", ".join(hint.units), hint.words)
        self._on_hint(hint)

    # the library

    def _statistics(self) -> dict[str, int]:
        assert self._engine is not None
        names = (*_REFUSALS, *_MEETINGS, _CANNOT_DECRYPT)
        found = self._engine.get_mib_builder().import_symbols("__SNMP-USER-BASED-SM-MIB", *names)
        return {name: int(symbol.syntax) for name, symbol in zip(names, found, strict=True)}

    def _user_info(self, _: Any, engine_id: Any, user: Any) -> tuple[Any, ...]:
        """Return name and keys of a user for an engine, as the library's own look-up does."""
        keys = self._keys.get(bytes(user))
        if keys is None:
            raise NoSuchInstanceError
        return keys.of_engine(rfc1902.OctetString(bytes(engine_id)))

    def _name_stranger(self, host: str, port: int) -> None:
        if self._gate.senders.units_of(host, port) or host in self._strangers:
            return
        if len(self._strangers) < MOST_STRANGERS_NAMED:
            self._strangers.add(host)
            log.warning("notifications from %s, which is no unit of this site, are counted and not obeyed", host)


def _drop_twins(engine: SnmpEngine) -> None:
    """Keep one note of when a sender's time is forgotten: the library makes one a message, for five minutes."""
    queue: dict[Any, list[Any]] = getattr(engine.security_models[3], "_SnmpUSMSecurityModel__timelineExpQueue", {})
    waiting = queue[next(reversed(queue))] if queue else []
    if waiting and waiting[-1] in waiting[:-1]:
        waiting.pop()


class _Keys:
    """The keys of a user before they are made for one engine, which is little work (RFC 3414, A.2)."""

    def __init__(self, access: User) -> None:
        for algorithm, secret in ((access.auth, access.auth_secret), (access.privacy, access.privacy_secret)):
            if algorithm != "none" and len(secret) < SHORTEST_SECRET:
                raise ValueError("a secret has 8 octets or more")
        self._name = rfc1902.OctetString(access.user.encode())
        self._auth_id, self._privacy_id = AUTH[access.auth], PRIVACY[access.privacy]
        self._auth, self._privacy = config.AUTH_SERVICES[self._auth_id], config.PRIV_SERVICES[self._privacy_id]
        self._auth_key = self._auth.hash_passphrase(rfc1902.OctetString(access.auth_secret))
        secret = rfc1902.OctetString(access.privacy_secret)
        self._privacy_key = self._privacy.hash_passphrase(self._auth_id, secret)

    def of_engine(self, engine_id: Any) -> tuple[Any, ...]:
        """Return name, security name, and algorithm and key of both kinds."""
        auth_key = self._auth.localize_key(self._auth_key, engine_id)
        privacy_key = self._privacy.localize_key(self._auth_id, self._privacy_key, engine_id)
        return self._name, self._name, self._auth_id, auth_key, self._privacy_id, privacy_key
