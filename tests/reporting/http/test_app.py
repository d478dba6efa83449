"""The HTTP application: answers, headers, methods, errors."""

from __future__ import annotations

import asyncio
import base64
import gzip
import hashlib
import re
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from starlette.applications import Starlette
from tests.reporting.samples import (
    NOW_S,
    SCRIPT,
    SampleSource,
    ac_lost,
    all_fine,
    healthy,
    hostile,
    nothing_known,
    silent_unit,
    source,
)

from portdraw.reporting.current import AgentHealth, Source
from portdraw.reporting.http.app import build_app
from portdraw.reporting.metrics import site_registry

PATHS = ["/", "/?part=main", "/unit/berth-1", "/metrics", "/health", "/ready", "/api/v1/site"]
ENTITY_SCRIPT = "&lt;script&gt;alert(1)&lt;/script&gt;"


class Client:
    """Asks an application without a socket between."""

    def __init__(self, app: Starlette) -> None:
        self._app = app

    def request(self, method: str, path: str, headers: dict[str, str] | None = None) -> httpx.Response:
        """Return the answer, also where the application failed."""

        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(self._app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://agent") as asked:
                return await asked.request(method, path, headers=headers)

        return asyncio.run(ask())

    def get(self, path: str, headers: dict[str, str] | None = None) -> httpx.Response:
        """Ask for a page."""
        return self.request("GET", path, headers)

    def head(self, path: str) -> httpx.Response:
        """Ask for the head of a page."""
        return self.request("HEAD", path)


def client(told: Source) -> Client:
    """Return a client of the application over a source."""
    return Client(build_app(told, site_registry(told)))


def words(page: str) -> str:
    """Return the words of a page as a reader sees them: no marks, single blanks."""
    bare = re.sub(r"<(style|script|svg)\b.*?</\1>|<[^>]*>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", bare.replace("&#39;", "'").replace("\N{NO-BREAK SPACE}", " "))


def test_before_the_first_cycle_an_emulated_site_says_so() -> None:
    told = SampleSource(None, replace(healthy(), emulated=True))
    page = client(told).get("/").text
    assert "EMULATED Every figure here comes from a rehearsal." in words(page)
    assert "<title>EMULATED " in page
    assert client(told).get("/health").json()["emulated"] is True
    assert "EMULATED" not in client(source(None)).get("/").text


def test_health_has_no_digits_that_nobody_measured() -> None:
    state = replace(
        healthy(), started_s=NOW_S - 1.23456789, last_cycle_s=NOW_S - 4.98765, last_cycle_took_s=0.04123456
    )
    told = client(SampleSource(None, state)).get("/health").json()
    assert (told["uptime_s"], told["cycle_age_s"], told["cycle_took_s"]) == (1.2, 5.0, 0.041)


@pytest.mark.parametrize("path", [*PATHS, "/nothing", "/" + "a" * 3000, "/unit/nobody"])
@pytest.mark.parametrize("method", ["GET", "HEAD", "POST"])
def test_every_answer_carries_the_safe_headers(path: str, method: str) -> None:
    headers = client(source(ac_lost())).request(method, path).headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["cache-control"] == "no-store"
    policy = headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; ")
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy


@pytest.mark.parametrize("path", ["/", "/unit/berth-1"])
def test_policy_allows_just_the_inline_style_and_script(path: str) -> None:
    answer = client(source(ac_lost())).get(path)
    for tag, directive in (("style", "style-src"), ("script", "script-src")):
        inline = re.findall(rf"<{tag}>(.*?)</{tag}>", answer.text, re.DOTALL)
        assert len(inline) == 1
        digest = base64.b64encode(hashlib.sha256(inline[0].encode()).digest()).decode()
        assert f"{directive} 'sha256-{digest}'" in answer.headers["content-security-policy"]
    assert " style=" not in answer.text
    assert not re.search(r'\son[a-z]+="', answer.text)
    assert not re.search(r'(src|href|action)="(https?:)?//', answer.text)


@pytest.mark.parametrize("path", PATHS)
def test_only_get_and_head(path: str) -> None:
    asked = client(source(ac_lost()))
    assert asked.get(path).status_code == 200
    head = asked.head(path)
    assert (head.status_code, head.headers["content-type"]) == (200, asked.get(path).headers["content-type"])
    for method in ("POST", "PUT", "DELETE", "PATCH", "OPTIONS"):
        answer = asked.request(method, path)
        assert (answer.status_code, answer.headers["allow"]) == (405, "GET, HEAD")
        assert answer.text == (
            "This address only answers GET, HEAD. Nothing changes here but alarms that are taken in hand.\n"
        )


def test_nothing_there_and_too_long() -> None:
    asked = client(source(ac_lost()))
    for path in ("/nothing", "/unit/nobody", "/unit/", "/unit/a/b", "/api/v1", "/unit/%00", "/unit/..%2f..%2fetc"):
        answer = asked.get(path)
        assert (answer.status_code, answer.text) == (404, "There is nothing at this address. The overview is at /\n")
    long = asked.get("/?" + "a" * 3000)
    assert (long.status_code, long.text) == (414, "The address asked for is longer than this agent accepts.\n")


class Broken(SampleSource):
    """A source that fails."""

    def health(self) -> AgentHealth:
        """Raise, with a secret in the message."""
        raise RuntimeError("sesame")


@pytest.mark.parametrize("path", PATHS[:6])
def test_no_traceback_reaches_the_client(path: str) -> None:
    broken = Broken(ac_lost(), healthy())
    answer = client(broken).get(path)
    assert (answer.status_code, answer.text) == (
        500,
        "The agent could not make this page. The reason is in its log.\n",
    )
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_metrics_come_gzipped_where_asked_for() -> None:
    asked = client(source(ac_lost()))
    answer = asked.get("/metrics", headers={"accept-encoding": "gzip"})
    assert answer.headers["content-encoding"] == "gzip"
    assert answer.headers["content-type"].startswith("text/plain; version=")
    assert (
        'portdraw_unit_draw_watts{basis="measured",site="Skarholm ferry terminal EMULATED",unit="berth-1"} 49.5'
        in answer.text
    )
    plain = asked.get("/metrics", headers={"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert len(gzip.compress(plain.content)) < len(plain.content)


def test_ready_and_health() -> None:
    assert client(source(all_fine())).get("/ready").json() == {"ready": True, "reason": ""}
    starting = SampleSource(None, replace(healthy(), ready=False, why_not_ready="no cycle has ended yet"))
    answer = client(starting).get("/ready")
    assert (answer.status_code, answer.json()) == (503, {"ready": False, "reason": "no cycle has ended yet"})
    alive = client(starting).get("/health")
    assert (alive.status_code, alive.json()["alive"], alive.json()["ready"]) == (200, True, False)


def test_before_the_first_cycle() -> None:
    starting = SampleSource(
        None, replace(healthy(), ready=False, why_not_ready="no cycle has ended yet", last_cycle_s=None)
    )
    page = words(client(starting).get("/").text)
    assert "No readings yet: no cycle has ended since 2026-03-01 12:06:10." in page
    assert "The agent is not ready: no cycle has ended yet." in page
    answer = client(starting).get("/api/v1/site")
    assert (answer.status_code, answer.json()) == (503, {"site": None, "reason": "no cycle has ended yet"})
    assert client(starting).get("/unit/core").status_code == 404


def test_the_overview_with_two_units_on_their_feed() -> None:
    page = words(client(source(ac_lost())).get("/").text)
    assert (
        "EMULATED Every figure here comes from a rehearsal. Nothing on this page says anything about a real leg."
        in page
    )
    assert "Two units have lost local AC and stand on their PoE feed: berth-1 and berth-2." in page
    assert "9 of 9 units read, oldest 6 s ago · day plan · margin 20 % of each limit" in page
    assert (
        "urgent raised Local AC lost at berth-1; it runs on its PoE feed from core port 2 since 14:02:31. "
        "Where berth-1, cabinet at berth 1 local AC quay-3 "
        "Call the harbour electrician, ext. 204, about breaker 3 of panel P2. "
        "Running on PoE feed from core port 2, believed Fails next If core port 2 or its cable fails too, "
        "berth-1 and its four devices go dark. Since 14:02:31, 3 min ago "
        "Do not Do not re-close it before the cause is found. "
        "Why urgent one leg left, and a device of criticality 1 hangs on it "
        "Rests on berth-1 read 6 s ago; no second, independent sign yet"
    ) in page
    assert (
        "berth-1 cabinet at berth 1 read 6 s ago "
        "local AC quay-3 lost since 14:02:31 49.5 of 90 W 55 % this leg is lost plan 28.8 W now, 55.8 W at most "
        "PoE feed core port 2 carrying, believed 49.5 of 59.6 W 83 % margin used, 10.1 W left "
        "asks core port 2 for 66.3 of 90 W"
    ) in page
    assert "core budget 460.4 of 440 W, 20.4 W short foyer-sign, office-phone-2 and office-phone-1 go dark" in page
    assert "Standing findings: 1" in page
    assert "Waiting or returned: 1" in page
    order = [page.index(head) for head in ("Two units", " Alarms ", "What fails next", "Units, each below")]
    assert order == sorted(order)


def test_the_overview_of_a_silent_unit() -> None:
    page = words(client(source(silent_unit())).get("/").text)
    assert "exit-lanes gate house, exit no answer; stale: read 13:57:04, 9 min ago" in page
    assert "local AC gate-5 unknown unknown of 90 W draw unknown" in page
    assert "what it would ask of core port 5 is unknown" in page
    assert "at least 21.4 of 90 W some ports unknown" in page
    assert "11.7 of 30 W 39 % when last read: 18.3 W left" in page
    first_failure = page.index("unknown: exit-lanes has no reading, so its part can't be added")
    assert first_failure < page.index("175.2 of 440 W, 264.8 W to spare")


def test_nothing_known_is_not_calm() -> None:
    text = client(source(nothing_known())).get("/").text
    page = words(text)
    assert "No alarm is up, but 9 of 9 units are unknown: this list can't speak for them." in page
    assert "0 of 9 units read" in page
    assert 'class="fill"' not in text
    assert text.count('class="nothing"') == 17 + 1  # 17 legs, and one bar for all failures


@pytest.mark.parametrize("sample", [all_fine, ac_lost, silent_unit])
def test_a_leg_is_told_by_shape_as_well_as_by_colour(sample: object) -> None:
    text = client(source(sample())).get("/").text  # type: ignore[operator]
    pieces = re.findall(r'<svg class="piece (\w+) (solid|dashed)".*?</svg>', text, re.DOTALL)
    assert len(pieces) == 17
    bodies = dict(re.findall(r'<svg class="piece (\w+) \w+"[^>]*>(.*?)</svg>', text, re.DOTALL))
    assert len({re.sub(r"\s", "", body) for body in bodies.values()}) == len(bodies)


def test_a_units_page() -> None:
    page = words(client(source(ac_lost())).get("/unit/berth-1").text)
    assert (
        "berth-1 cabinet at berth 1 draws 49.5 W, measured · plan 28.8 W now, 55.8 W at most · read 6 s ago" in page
    )
    assert "for it the unit says it draws from its PoE feed only (LLDP power source)" in page
    assert "watts at the port's output, newest reading 14:06:04, 6 s ago" in page
    assert (
        "4 BE-04 berth-1-berth-sensor-4 berth-sensor delivering 1, 4 W 2.0 2.6 3.4 measured a private watt column "
        "6 s above plan by 0.8 W"
    ) in page
    core = words(client(source(ac_lost())).get("/unit/core").text)
    assert "2 A-02 berth-1 unit delivering 8, 90 W" in core


def test_an_unknown_port_says_why() -> None:
    page = words(client(source(silent_unit())).get("/unit/exit-lanes").text)
    assert "unknown none a private watt column 6 s the unit has not answered since 13:57:04" in page
    assert "no answer within 8 s, 18 polls in a row: off, unreachable, or its access has changed" in page


def test_old_news_is_told() -> None:
    late = source(all_fine())
    late.clock_s = NOW_S + 600
    assert "Old news. No new cycle since 14:06:06, 10 min ago. Everything below is that old." in words(
        client(late).get("/").text
    )
    assert "Old news" not in words(client(source(all_fine())).get("/").text)


@pytest.mark.parametrize("path", ["/", "/unit/north-pier", "/unit/berth-1"])
def test_script_in_names_is_inert(path: str) -> None:
    text = client(source(hostile())).get(path).text
    assert SCRIPT not in text
    assert ENTITY_SCRIPT in text
    assert text.count("<script>") == 1
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "{{7*7}}" in text


def test_part_main_is_the_same_main() -> None:
    asked = client(source(ac_lost()))
    whole, part = asked.get("/").text, asked.get("/?part=main").text
    assert part.strip().startswith('<main id="sheet" data-as-of="14:06:10"')
    assert part.strip() in whole
    assert "<script>" not in part
    assert '<noscript><meta http-equiv="refresh" content="10"></noscript>' in whole


def test_units_with_odd_names_have_a_page() -> None:
    site = all_fine()
    odd = replace(site.units[1], unit="north pier 2.a")
    asked = client(source(replace(site, units=(odd,))))
    assert 'href="/unit/north%20pier%202.a"' in asked.get("/").text
    assert asked.get("/unit/north%20pier%202.a").status_code == 200


def test_pages_travel_with_the_package() -> None:
    folder = Path(__file__).parents[3] / "agent" / "portdraw" / "reporting" / "pages"
    assert sorted(file.name for file in folder.iterdir()) >= ["frame.html", "live.js", "overview.html", "page.css"]
