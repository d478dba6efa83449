"""The agent's HTTP application: metrics, health, the site as JSON, the overview and a page for each unit."""

from __future__ import annotations

import json
from collections.abc import Mapping

from prometheus_client import CollectorRegistry
from prometheus_client.exposition import choose_encoder
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from portdraw.reporting.current import Source
from portdraw.reporting.http_guard import Guard, safe_headers
from portdraw.reporting.page import Pages
from portdraw.reporting.site_json import Json, health_json, site_json

NOT_FOUND = "There is nothing at this address. The overview is at /\n"
NOT_ALLOWED = "This agent only answers GET and HEAD: it shows, it never changes anything.\n"
FAILED = "The agent could not make this page. The reason is in its log.\n"
NO_ASSESSMENT = "no cycle has ended yet"


def build_app(source: Source, registry: CollectorRegistry) -> Starlette:
    """Return the application over a source; `registry` is what /metrics shows. It holds no state of its own."""
    pages = Pages(source)
    headers = safe_headers(pages.content_policy)

    def metrics(request: Request) -> Response:
        encode, content_type = choose_encoder(request.headers.get("accept", ""))
        return Response(encode(registry), headers={"content-type": content_type})

    def health(request: Request) -> Response:
        return _json(health_json(source.health(), source.now_s()))

    def ready(request: Request) -> Response:
        state = source.health()
        reason = "" if state.ready else state.why_not_ready or "the agent does not say why"
        return _json({"ready": state.ready, "reason": reason}, 200 if state.ready else 503)

    def site(request: Request) -> Response:
        assessment = source.assessment()
        if assessment is None:
            return _json({"site": None, "reason": source.health().why_not_ready or NO_ASSESSMENT}, 503)
        return _json(site_json(assessment, source.now_s()))

    def overview(request: Request) -> Response:
        return HTMLResponse(pages.overview(only_main=request.query_params.get("part") == "main"))

    def unit(request: Request) -> Response:
        text = pages.unit(request.path_params["name"], only_main=request.query_params.get("part") == "main")
        if text is None:
            raise HTTPException(404)
        return HTMLResponse(text)

    def not_found(request: Request, error: Exception) -> Response:
        return PlainTextResponse(NOT_FOUND, 404)

    def not_allowed(request: Request, error: Exception) -> Response:
        return PlainTextResponse(NOT_ALLOWED, 405, {"allow": "GET, HEAD"})

    def failed(request: Request, error: Exception) -> Response:
        return PlainTextResponse(FAILED, 500, headers)

    return Starlette(
        routes=[
            Route("/", overview),
            Route("/unit/{name}", unit),
            Route("/metrics", metrics),
            Route("/health", health),
            Route("/ready", ready),
            Route("/api/v1/site", site),
        ],
        middleware=[Middleware(Guard, headers=headers), Middleware(GZipMiddleware, minimum_size=1000)],
        exception_handlers={404: not_found, 405: not_allowed, Exception: failed},
    )


def _json(value: Mapping[str, Json], status: int = 200) -> Response:
    text = json.dumps(value, allow_nan=False, indent=1)
    return Response(text + "\n", status, media_type="application/json")
