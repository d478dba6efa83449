"""`portdraw status` against what is no agent; against a real one it is tried beside `portdraw run`."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import pytest
from tests.cli.conftest import Call
from tests.service.slipway import free_tcp_port


@contextmanager
def answering(status: int, body: bytes) -> Iterator[str]:
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
