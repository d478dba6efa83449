"""`portdraw status` against what is no agent; against a real one it is tried beside `portdraw run`."""

from __future__ import annotations

import json
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
import trustme
from tests.cli.conftest import Call
from tests.service.certificates import write_certificate
from tests.service.slipway import free_tcp_port


@contextmanager
def answering(status: int, body: bytes, tls: ssl.SSLContext | None = None) -> Iterator[str]:
    """A web server that says one thing to everybody."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(status)
            self.send_header("content-length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: Any) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join(10)


@pytest.mark.parametrize(
    "body",
    [{}, [], None, "text", 7, {"alarms": 1}, {"alarms": [1]}, {"alarms": []}, {"alarms": [{"state": "raised"}]}],
)
def test_json_of_something_else_is_one_sentence(call: Call, body: object) -> None:
    with answering(200, json.dumps(body).encode()) as url:
        done = call("status", "--url", url)
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr == f"what answers at {url} is no portdraw agent of this version\n"


@pytest.mark.parametrize("body", [b"", b"<html>hello</html>", b"\xff\xfe"])
def test_no_json_at_all_is_one_sentence(call: Call, body: bytes) -> None:
    with answering(200, body) as url:
        done = call("status", "--url", url)
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr == f"no portdraw agent answers at {url}; is it running?\n"


def test_an_agent_that_is_not_ready_says_why(call: Call) -> None:
    with answering(503, json.dumps({"site": None, "reason": "no cycle\x1b[31m has ended yet"}).encode()) as url:
        done = call("status", "--url", url)
    assert done.returncode == 3
    assert "has no state to show yet: no cycle" in done.stderr
    assert "\x1b" not in done.stderr


def test_nothing_there(call: Call) -> None:
    url = f"http://127.0.0.1:{free_tcp_port()}"
    done = call("status", "--url", url)
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr == f"no portdraw agent answers at {url}; is it running?\n"


@pytest.mark.parametrize("url", ["127.0.0.1:8437", "ftp://127.0.0.1/", "", "site.yaml"])
def test_what_is_no_web_address_is_code_2(call: Call, url: str) -> None:
    done = call("status", "--url", url)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1


def test_where_to_look_must_be_said(call: Call) -> None:
    done = call("status")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "say where the agent is: --settings FILE or --url http://127.0.0.1:8437\n"


def test_http_where_tls_listens_and_https_where_it_does_not(call: Call, tmp_path: Path) -> None:
    write_certificate(tmp_path, trustme.CA())
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(tmp_path / "tls.crt", tmp_path / "tls.key")
    with answering(200, b"{}", context) as url:
        plain = call("status", "--url", url)
        where = url.removeprefix("http://")
    assert (plain.returncode, plain.stderr) == (
        3,
        f"what listens at {url} does not speak plain HTTP; if it speaks TLS, write https://{where}\n",
    )
    with answering(200, b"{}") as url:
        where = url.removeprefix("http://")
        tls = call("status", "--url", f"https://{where}")
    assert (tls.returncode, tls.stderr) == (
        3,
        f"what listens at https://{where} does not speak TLS; if it speaks plain HTTP, write {url}\n",
    )


@pytest.mark.parametrize(
    ("token", "said"),
    [
        ("", "refuses: No. (put it into PORTDRAW_TOKEN, or give --settings of an agent that has tokens)"),
        ("0123456789abcdef", "refuses: No. (it comes from PORTDRAW_TOKEN)"),
    ],
)
def test_a_refused_token_is_told_with_where_it_comes_from(call: Call, token: str, said: str) -> None:
    with answering(401, b"No.\n") as url:
        done = call("alarms", "--url", url, more={"PORTDRAW_TOKEN": token} if token else {})
    assert (done.returncode, done.stderr) == (2, f"the agent at {url} {said}\n")
