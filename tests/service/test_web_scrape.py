"""A real Prometheus scrapes a real agent over TLS with a bearer token, or with a client certificate."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
import trustme
from tests.cli.prometheus import Prometheus
from tests.service.certificates import TLS, TLS_WITH_CA, write_certificate
from tests.service.emulated_agent import READ_TOKEN, TOKENS, emulated_agent, run


async def first_rows(prometheus: Prometheus, expression: str) -> list[dict[str, object]]:
    """Wait until a query brings something; `run` bounds it."""
    while True:
        rows = await asyncio.to_thread(prometheus.ask, expression)
        if rows:
            return rows
        await asyncio.sleep(0.3)


@pytest.mark.parametrize("way", ["token", "certificate", "nothing"])
def test_prometheus_gets_in_by_token_or_certificate_and_not_without(tmp_path: Path, way: str) -> None:
    ca = trustme.CA()
    write_certificate(tmp_path, ca)
    mine = ca.issue_cert(common_name="prometheus")
    mine.cert_chain_pems[0].write_to_path(tmp_path / "mine.crt")
    mine.private_key_pem.write_to_path(tmp_path / "mine.key")
    (tmp_path / "token").write_text(READ_TOKEN)
    tls = f"ca_file: {tmp_path / 'ca.crt'}"
    pair = f"cert_file: {tmp_path / 'mine.crt'}, key_file: {tmp_path / 'mine.key'}"
    more = {
        "token": f"authorization: {{credentials_file: {tmp_path / 'token'}}}, tls_config: {{{tls}}}",
        "certificate": f"tls_config: {{{tls}, {pair}}}",
        "nothing": f"tls_config: {{{tls}}}",
    }[way]
    listen = TLS_WITH_CA if way == "certificate" else f"{TLS}, {TOKENS}"

    async def work() -> None:
        async with emulated_agent(tmp_path, listen) as one:
            # ended before the agent, so that nothing escapes into its end
            with Prometheus(tmp_path / "prometheus", one.agent.address, more=f"scheme: https, {more}") as prometheus:
                if way == "nothing":
                    # "up" is there from the first try on, and 0: refused
                    (row,) = await first_rows(prometheus, "up")
                    assert str(row["value"]).endswith("'0']")
                else:
                    await first_rows(prometheus, "up == 1")
                    rows = await first_rows(prometheus, "portdraw_unit_draw_watts")
                    assert rows

    run(work)
