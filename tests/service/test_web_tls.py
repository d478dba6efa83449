"""TLS of a real agent, with real TLS clients: what is trusted, what is refused, and who gets in."""

from __future__ import annotations

import asyncio
import logging
import os
import ssl
from pathlib import Path

import httpx
import pytest
import trustme
from tests.service.certificates import TLS, TLS_WITH_CA, client_context, write_certificate
from tests.service.emulated_agent import OPERATE_TOKEN, READ_TOKEN, TOKENS, emulated_agent, run, until


async def get(url: str, context: ssl.SSLContext, token: str | None = None) -> httpx.Response:
    headers = {} if token is None else {"authorization": f"Bearer {token}"}
    async with httpx.AsyncClient(trust_env=False, timeout=30, verify=context) as client:
        return await client.get(url, headers=headers)


def test_a_client_that_trusts_the_authority_is_answered(tmp_path: Path) -> None:
    ca = trustme.CA()
    write_certificate(tmp_path, ca)

    async def work() -> None:
        async with emulated_agent(tmp_path, TLS) as one:
            assert one.agent.address.startswith("https://127.0.0.1:")
            answer = await get(f"{one.agent.address}/api/v1/site", client_context(ca))
            assert answer.status_code == 200
            assert answer.headers["strict-transport-security"] == "max-age=86400"
            assert "server" not in answer.headers
            with pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
                await get(one.agent.address, client_context(trustme.CA()))
            with pytest.raises(httpx.HTTPError):  # HTTP in clear is not answered
                await get(one.agent.address.replace("https", "http"), client_context(ca))

    run(work)


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion")
@pytest.mark.parametrize(("newest", "gets_in"), [("TLSv1_1", False), ("TLSv1_2", True), ("TLSv1_3", True)])
def test_tls_before_1_2_is_refused(tmp_path: Path, newest: str, gets_in: bool) -> None:
    """RFC 8996: TLS 1.0 and 1.1 are deprecated. The client may speak them (security level 0), the agent may not."""
    ca = trustme.CA()
    write_certificate(tmp_path, ca)

    async def work() -> None:
        async with emulated_agent(tmp_path, TLS) as one:
            context = client_context(ca)
            context.set_ciphers("DEFAULT:@SECLEVEL=0")
            context.minimum_version = ssl.TLSVersion.TLSv1
            context.maximum_version = ssl.TLSVersion[newest]
            if gets_in:
                assert (await get(f"{one.agent.address}/health", context)).status_code == 200
            else:
                with pytest.raises(httpx.ConnectError):
                    await get(f"{one.agent.address}/health", context)

    run(work)


def test_an_expired_certificate_is_told_and_the_watch_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    ca = trustme.CA()
    write_certificate(tmp_path, ca, days=-2)

    async def work() -> None:
        async with emulated_agent(tmp_path, TLS) as one:
            with pytest.raises(httpx.ConnectError, match="certificate has expired"):
                await get(one.agent.address, client_context(ca))
            cycles = one.agent.health().cycles
            await until(lambda: one.agent.health().cycles > cycles)

    with caplog.at_level(logging.WARNING):
        run(work)
    told = [record.getMessage() for record in caplog.records if "certificate" in record.getMessage()]
    assert len(told) == 1
    assert "tls.crt expired on " in told[0]
    assert told[0].endswith("UTC; clients refuse it")


def test_a_replaced_certificate_is_shown_without_a_restart(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    ca = trustme.CA()
    first = write_certificate(tmp_path, ca)
    second = trustme.CA()

    async def work() -> None:
        async with emulated_agent(tmp_path, TLS) as one:
            web = one.agent._web
            assert web is not None
            assert not web.renew()
            (tmp_path / "tls.key").write_bytes(first.private_key_pem.bytes()[:100])
            os.utime(tmp_path / "tls.key", (1, 1))
            assert not web.renew()  # half written: the one of before is shown on
            assert (await get(f"{one.agent.address}/health", client_context(ca))).status_code == 200
            write_certificate(tmp_path, second)
            os.utime(tmp_path / "tls.key", (2, 2))
            assert web.renew()
            assert (await get(f"{one.agent.address}/health", client_context(second))).status_code == 200

    run(work)
    assert "holds no private key in PEM; the certificate of before is shown on" in caplog.text


def test_without_tokens_nobody_gets_in_without_a_certificate(tmp_path: Path) -> None:
    ca = trustme.CA()
    write_certificate(tmp_path, ca)

    async def work() -> None:
        async with emulated_agent(tmp_path, TLS_WITH_CA) as one:
            url = f"{one.agent.address}/api/v1/site"
            with pytest.raises(httpx.HTTPError):
                await get(url, client_context(ca))
            stranger = trustme.CA().issue_cert(common_name="stranger")
            with pytest.raises(httpx.HTTPError):
                await get(url, client_context(ca, stranger))
            known = client_context(ca, ca.issue_cert(common_name="scraper"))
            assert (await get(url, known)).status_code == 200
            async with httpx.AsyncClient(trust_env=False, verify=known) as client:
                order = {"kind": "local-ac-lost", "unit": "slip"}
                answer = await client.post(f"{one.agent.address}/api/v1/alarms/acknowledge", json=order)
            assert answer.status_code == 403  # a certificate may read

    run(work)


def test_with_tokens_a_certificate_is_the_other_way_in(tmp_path: Path) -> None:
    ca = trustme.CA()
    write_certificate(tmp_path, ca)

    async def work() -> None:
        async with emulated_agent(tmp_path, f"{TLS_WITH_CA}, {TOKENS}") as one:
            url = f"{one.agent.address}/api/v1/site"
            assert (await get(url, client_context(ca))).status_code == 401
            assert (await get(url, client_context(ca), READ_TOKEN)).status_code == 200
            assert (await get(url, client_context(ca), OPERATE_TOKEN)).status_code == 200
            assert (await get(url, client_context(ca), READ_TOKEN + "x")).status_code == 401
            known = client_context(ca, ca.issue_cert(common_name="scraper"))
            assert (await get(url, known)).status_code == 200
            with pytest.raises(httpx.HTTPError):  # one of another authority is worse than none
                await get(url, client_context(ca, trustme.CA().issue_cert(common_name="stranger")))

    run(work)


def test_silent_clients_in_the_handshake_are_counted_and_can_lose_their_place(tmp_path: Path) -> None:
    ca = trustme.CA()
    write_certificate(tmp_path, ca)

    async def work() -> None:
        async with emulated_agent(tmp_path, TLS) as one:
            silent = [await asyncio.open_connection("127.0.0.1", one.port) for _ in range(450)]
            await until(lambda: one.agent.open_connections >= 390)
            assert one.agent.open_connections <= 400
            answer = await get(f"{one.agent.address}/metrics", client_context(ca))
            assert answer.status_code == 200
            assert one.agent.open_connections <= 400
            for _, writer in silent:
                writer.transport.abort()

    run(work)
