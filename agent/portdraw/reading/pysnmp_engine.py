"""The SNMP library, used low level behind the engine interface: the only module of reading that imports it.

One library engine for each named access, so that two accesses may share a user name. Requests go straight to
the message dispatcher: no target table (its set-up time grows with the square of the targets), no MIB look-ups.
One long file, because the library is imported in one place only; what needs no library is in `desk` and `addresses`.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Mapping, Sequence
from typing import Any

from pyasn1.error import PyAsn1Error
from pysnmp.carrier.asyncio.dgram import udp, udp6
from pysnmp.carrier.asyncio.dispatch import AsyncioDispatcher
from pysnmp.entity import config
from pysnmp.entity.engine import SnmpEngine
from pysnmp.error import PySnmpError
from pysnmp.proto import errind, rfc1902, rfc1905
from pysnmp.proto.api import v2c
from pysnmp.proto.error import StatusInformation

from portdraw.reading.access import Access, Community
from portdraw.reading.addresses import Address, Addresses
from portdraw.reading.answer_octets import take_from_message, take_from_scoped
from portdraw.reading.desk import Asked, Desk
from portdraw.reading.engine import Answer, Failure, ReadError, Target
from portdraw.reading.refusal import refusal
from portdraw.reading.varbind import ABSENT, LARGEST_ARC, MOST_ARCS, Kind, Oid, Value, Varbind

RECEIVE_BUFFER_OCTETS = 4 * 1024 * 1024  # the default drops answers above about 32 requests in flight
SHORTEST_SECRET = 8  # octets of a passphrase: RFC 3414, section 11.2
RESYNCHRONISATIONS = 4  # discovery takes two rounds (engine id, then time); a restarted agent one more

AUTH = {
    "none": config.USM_AUTH_NONE,
    "md5": config.USM_AUTH_HMAC96_MD5,
    "sha1": config.USM_AUTH_HMAC96_SHA,
    "sha224": config.USM_AUTH_HMAC128_SHA224,
    "sha256": config.USM_AUTH_HMAC192_SHA256,
    "sha384": config.USM_AUTH_HMAC256_SHA384,
    "sha512": config.USM_AUTH_HMAC384_SHA512,
}
PRIVACY = {
    "none": config.USM_PRIV_NONE,
    "des": config.USM_PRIV_CBC56_DES,
    "3des": config.USM_PRIV_CBC168_3DES,
    "aes128": config.USM_PRIV_CFB128_AES,
    "aes192": config.USM_PRIV_CFB192_AES,
    "aes256": config.USM_PRIV_CFB256_AES,
    "aes192-blumenthal": config.USM_PRIV_CFB192_AES_BLUMENTHAL,
    "aes256-blumenthal": config.USM_PRIV_CFB256_AES_BLUMENTHAL,
}
_KINDS: dict[Any, Kind] = {
    # by tag: the library decodes into classes of two packages, and some of them are each other's children
    rfc1902.Integer32.tagSet: Kind.INTEGER,
    rfc1902.OctetString.tagSet: Kind.OCTETS,
    rfc1902.ObjectIdentifier.tagSet: Kind.OID,
    rfc1902.IpAddress.tagSet: Kind.IP_ADDRESS,
    rfc1902.Counter32.tagSet: Kind.COUNTER32,
    rfc1902.Gauge32.tagSet: Kind.GAUGE32,
    rfc1902.TimeTicks.tagSet: Kind.TIMETICKS,
    rfc1902.Opaque.tagSet: Kind.OPAQUE,
    rfc1902.Counter64.tagSet: Kind.COUNTER64,
    v2c.null.tagSet: Kind.NULL,
    rfc1905.noSuchObject.tagSet: Kind.NO_SUCH_OBJECT,
    rfc1905.noSuchInstance.tagSet: Kind.NO_SUCH_INSTANCE,
    rfc1905.endOfMibView.tagSet: Kind.END_OF_MIB_VIEW,
}


def plain_varbind(name: Any, value: Any) -> Varbind:
    """Return a library name and value as a Varbind of plain Python values. Raises ValueError or KeyError."""
    oid = _checked_oid(name)
    kind = _KINDS[value.tagSet]
    plain: Value
    if kind in ABSENT:
        plain = None
    elif kind is Kind.OID:
        plain = _checked_oid(value)
    elif kind in (Kind.OCTETS, Kind.IP_ADDRESS, Kind.OPAQUE):
        plain = bytes(value.asOctets())
    else:
        plain = int(value)
    return Varbind(oid, kind, plain)


def _checked_oid(name: Any) -> Oid:
    oid = tuple(int(arc) for arc in name)
    if len(oid) > MOST_ARCS or any(arc > LARGEST_ARC for arc in oid):
        raise ValueError("not an object identifier of SMIv2")
    return oid


def _listening(base: type, engine: SnmpEngine, desk: Desk) -> Any:
    """Return a transport of class `base`: takes answers only from those asked, and no datagram makes it raise."""
    symbols = engine.get_mib_builder().import_symbols
    (parse_errors,) = symbols("__SNMPv2-MIB", "snmpInASNParseErrs")
    (unknown_users,) = symbols("__SNMP-USER-BASED-SM-MIB", "usmStatsUnknownUserNames")

    class Transport(base):  # type: ignore[misc]
        def datagram_received(self, datagram: bytes, transportAddress: Any) -> None:  # noqa: N803
            sender = (str(transportAddress[0]), int(transportAddress[1]))
            waiting = desk.of(sender)
            if not waiting or self._callback_function is None:
                return
            for asked in waiting:
                asked.heard += 1
            before, garbage = (int(parse_errors.syntax), int(unknown_users.syntax)), False
            bare, desk.bindings = take_from_message(datagram) or (datagram, None)
            desk.sender = sender
            try:
                self._callback_function(self, transportAddress, bare)
            except Exception:  # any answer the library can't digest is an answer that can't be used
                garbage = True
            finally:
                desk.sender = desk.bindings = None
                drop_security_states(engine)
            for asked in waiting:
                if garbage or int(parse_errors.syntax) != before[0]:
                    asked.hear_garbage()
                elif int(unknown_users.syntax) != before[1]:
                    # a report of an engine id for which the library holds no keys yet; it drops the report itself
                    asked.hear_stranger(_OtherEngineError())

        def error_received(self, exc: Exception) -> None:
            return  # ICMP port unreachable: the request ends at its own deadline

    return Transport()


class _Privacy:
    """A cipher of the library that takes the bindings out of what it has decrypted; the digest was right by then."""

    def __init__(self, service: Any, desk: Desk) -> None:
        self._service, self._desk = service, desk

    def __getattr__(self, name: str) -> Any:
        return getattr(self._service, name)

    def decrypt_data(self, key: Any, parameters: Any, data: Any) -> bytes:
        scoped = bytes(self._service.decrypt_data(key, parameters, data))
        bare, self._desk.bindings = take_from_scoped(scoped) or (scoped, None)
        return bare


class PysnmpEngine:
    """SNMP v2c and v3 over UDP, IPv4 and IPv6. Make and use it inside one running event loop."""

    def __init__(self, accesses: Mapping[str, Access]) -> None:
        self._accesses = dict(accesses)
        self._desk = Desk()
        self._addresses = Addresses()
        self._engines: dict[str, SnmpEngine] = {}
        self._opening = asyncio.Lock()

    async def get(self, target: Target, oids: Sequence[Oid], timeout_s: float) -> Answer:
        """Send GET. Raises ReadError."""
        pdu = v2c.GetRequestPDU()
        v2c.apiPDU.set_defaults(pdu)
        return await self._exchange(target, pdu, oids, timeout_s)

    async def get_bulk(
        self, target: Target, oids: Sequence[Oid], repetitions: int, timeout_s: float, non_repeaters: int = 0
    ) -> Answer:
        """Send GETBULK. Raises ReadError."""
        pdu = v2c.GetBulkRequestPDU()
        v2c.apiBulkPDU.set_defaults(pdu)
        v2c.apiBulkPDU.set_non_repeaters(pdu, non_repeaters)
        v2c.apiBulkPDU.set_max_repetitions(pdu, repetitions)
        return await self._exchange(target, pdu, oids, timeout_s)

    async def close(self) -> None:
        """Close every socket and timer of the library."""
        for engine in self._engines.values():
            engine.close_dispatcher()
        self._engines.clear()
        await asyncio.sleep(0)

    # one exchange

    async def _exchange(self, target: Target, pdu: Any, oids: Sequence[Oid], timeout_s: float) -> Answer:
        v2c.apiPDU.set_varbinds(pdu, [(oid, v2c.null) for oid in oids])
        loop = asyncio.get_running_loop()
        deadline = loop.time() + timeout_s
        address = await self._addresses.find(target.host, target.port, timeout_s)
        engine = await self._engine(target.access)
        known = False
        for attempt in range(RESYNCHRONISATIONS + 1):
            left_s = deadline - loop.time()
            if left_s <= 0:
                break
            try:
                return await self._once(engine, target, address, pdu, left_s)
            except TimeoutError:
                break
            except ReadError as error:
                if error.failure is Failure.GARBLED or attempt >= 2 or isinstance(error, _OtherEngineError):
                    _forget_peer(engine, address)  # another box answers at this address now
                if error.failure is not Failure.TIME_WINDOW or attempt == RESYNCHRONISATIONS:
                    raise
                known = True
        access = self._accesses[target.access]
        if not isinstance(access, Community):
            _forget_peer(engine, address)  # the next question begins with asking who is there
            if known and access.privacy != "none":
                raise ReadError(
                    Failure.WRONG_PRIVACY,
                    f"{target} makes itself known but does not answer this user: "
                    "the privacy secret or its algorithm is wrong, or the agent is too busy",
                )
        self._addresses.was_silent(target.host)
        raise ReadError(Failure.SILENT, f"{target} gave no answer within {timeout_s:.3g} s")

    async def _once(self, engine: SnmpEngine, target: Target, address: Address, pdu: Any, left_s: float) -> Answer:
        access = self._accesses[target.access]
        model, level = (1, 1) if isinstance(access, Community) else (3, level_of(access.auth, access.privacy))
        asked = Asked(address.key)
        future = asked.future

        def on_answer(*args: Any) -> None:
            answer_pdu, status = args[8], args[9]
            if future.done():
                return
            try:
                if self._desk.sender not in (None, asked.key):
                    raise _ForeignAnswerError  # somebody else who is asked too guessed our request id
                if status:
                    future.set_exception(_failure(target, status.get("errorIndication")))
                else:
                    future.set_result(_plain_answer(answer_pdu, pdu, self._desk.bindings))
            except _ForeignAnswerError:
                future.set_exception(ReadError(Failure.GARBLED, f"{target} answered a question that was not asked"))
            except Exception as error:  # undecodable value inside a well-formed message
                future.set_exception(
                    ReadError(
                        Failure.GARBLED,
                        f"{target} sent a value that can't be decoded ({type(error).__name__})",
                    )
                )

        domain, transport_address = _transport_address(address)
        ticks = (left_s + 5) / engine.transport_dispatcher.get_timer_resolution()  # our own timer ends it first
        self._desk.add(asked)
        handle = None
        try:
            handle = engine.message_dispatcher.send_pdu(
                engine,
                domain,
                transport_address,
                model,
                3 if model == 3 else 2,
                v2c.OctetString(_security_name(access)),
                level,
                None,
                v2c.OctetString(b""),
                1,
                pdu,
                True,
                ticks,
                on_answer,
                None,
            )
            async with asyncio.timeout(left_s) as asked.limit:
                return await future
        except PySnmpError as error:
            raise ReadError(Failure.UNREACHABLE, f"{target} can't be asked ({_short(error)})") from None
        except TimeoutError:
            if asked.heard:
                what = "with nothing that can be used" if asked.garbage else "too late or not what was asked"
                sentence = f"{target} answered, but {what}"
                raise ReadError(Failure.GARBLED, sentence) from None
            raise
        finally:
            self._desk.remove(asked)
            if handle is not None:
                engine.message_dispatcher.release_state_information(engine, handle, model)

    # set-up

    async def _engine(self, access_name: str) -> SnmpEngine:
        async with self._opening:
            if access_name not in self._engines:
                self._engines[access_name] = await self._open(self._accesses[access_name])
            return self._engines[access_name]

    async def _open(self, access: Access) -> SnmpEngine:
        engine = SnmpEngine()
        usm = engine.security_models[3]
        usm.PRIV_SERVICES = {name: _Privacy(service, self._desk) for name, service in usm.PRIV_SERVICES.items()}
        dispatcher = AsyncioDispatcher(loop=asyncio.get_running_loop())
        engine.register_transport_dispatcher(dispatcher)
        opened = 0
        for domain, base, family in (
            (udp.DOMAIN_NAME, udp.UdpAsyncioTransport, socket.AF_INET),
            (udp6.DOMAIN_NAME, udp6.Udp6AsyncioTransport, socket.AF_INET6),
        ):
            try:
                sock = socket.socket(family, socket.SOCK_DGRAM)
            except OSError:
                continue  # a machine without IPv6
            sock.setblocking(False)
            try:
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER_OCTETS)
                sock.bind(("::" if family == socket.AF_INET6 else "0.0.0.0", 0))  # noqa: S104 - a client's own port
            except OSError:
                sock.close()
                continue
            transport = _listening(base, engine, self._desk)
            config.add_transport(engine, domain, transport.open_server_mode(sock=sock))
            await transport._lport
            opened += 1
        if not opened:
            engine.close_dispatcher()
            raise ReadError(Failure.UNREACHABLE, "this machine can't open a socket for SNMP")
        try:
            _enter_access(engine, access)
        except (PySnmpError, PyAsn1Error, ValueError):
            engine.close_dispatcher()
            sentence = "the user name or a secret of this access can't be used: a secret has 8 octets or more"
            raise ReadError(Failure.UNREACHABLE, sentence) from None
        return engine


def _enter_access(engine: SnmpEngine, access: Access) -> None:
    if isinstance(access, Community):
        config.add_v1_system(engine, "portdraw", access.community, securityName=_security_name(access))
        return
    secrets = [(access.auth, access.auth_secret), (access.privacy, access.privacy_secret)]
    if any(name != "none" and len(secret) < SHORTEST_SECRET for name, secret in secrets):
        raise ValueError("secret too short")
    config.add_v3_user(
        engine,
        access.user,
        AUTH[access.auth],
        access.auth_secret or None,
        PRIVACY[access.privacy],
        access.privacy_secret or None,
    )


class _ForeignAnswerError(Exception):
    """The answer's request id is not ours."""


class _OtherEngineError(ReadError):
    """An engine id that is not the one known at this address."""

    def __init__(self) -> None:
        super().__init__(Failure.TIME_WINDOW, "another SNMP engine answers at this address, again and again")


def _plain_answer(answer_pdu: Any, request_pdu: Any, varbinds: tuple[Varbind, ...] | None) -> Answer:
    if v2c.apiPDU.get_request_id(answer_pdu) != v2c.apiPDU.get_request_id(request_pdu):
        raise _ForeignAnswerError
    if varbinds is None:
        varbinds = tuple(plain_varbind(name, value) for name, value in v2c.apiPDU.get_varbinds(answer_pdu))
    status = int(v2c.apiPDU.get_error_status(answer_pdu))
    index = int(v2c.apiPDU.get_error_index(answer_pdu, muteErrors=True) or 0)
    return Answer(varbinds, status, index)


def _failure(target: Target, indication: Any) -> BaseException:
    return TimeoutError() if indication == errind.requestTimedOut else refusal(target, type(indication).__name__)


def _security_name(access: Access) -> str:
    # the library clones a user to a new peer by its user name: a security name of our own would not be found
    return "portdraw" if isinstance(access, Community) else access.user


def level_of(auth: str, privacy: str) -> int:
    return 3 if privacy != "none" else 2 if auth != "none" else 1


def _transport_address(address: Address) -> tuple[Any, Any]:
    if address.is_v6:
        # as answers name their sender, with flow and scope: the library knows a peer by its address
        return udp6.DOMAIN_NAME, udp6.Udp6TransportAddress((*address.key, 0, 0))
    return udp.DOMAIN_NAME, udp.UdpTransportAddress(address.key)


def _forget_peer(engine: SnmpEngine, address: Address) -> None:
    """Drop the cached engine id of an address: the library never replaces it by itself before it expires."""
    model = engine.message_processing_subsystems[3]
    peer = _transport_address(address)
    cache: dict[Any, Any] = getattr(model, "_SnmpV3MessageProcessingModel__engineIdCache", {})
    queue: dict[Any, list[Any]] = getattr(model, "_SnmpV3MessageProcessingModel__engineIdCacheExpQueue", {})
    cache.pop(peer, None)
    for waiting in queue.values():
        while peer in waiting:
            waiting.remove(peer)


def drop_security_states(engine: SnmpEngine) -> None:
    """Drop what the library keeps, for ever, of an incoming message that it refuses half-way: we answer none."""
    for security in engine.security_models.values():
        getattr(security._cache, "_Cache__cache_entries", {}).clear()


def _short(error: Exception) -> str:
    """Return the library's own word for a failure; never its text, which may hold what was to be sent."""
    indication = error.get("errorIndication") if isinstance(error, StatusInformation) else None
    return type(indication if indication is not None else error).__name__
