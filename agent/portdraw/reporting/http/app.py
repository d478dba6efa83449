"""The agent's HTTP application: metrics, health, the site as JSON, the overview and a page for each unit."""

from __future__ import annotations

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from portdraw.reporting.current import Source
from portdraw.reporting.http.alarm_desk import AlarmDesk
from portdraw.reporting.http.alarm_routes import alarm_routes
from portdraw.reporting.http.answers import NO_ASSESSMENT, json_answer
from portdraw.reporting.http.connection import asks_for_stream
from portdraw.reporting.http.guard import OPEN_TO_ALL, Guard, Rules, may_read, safe_headers
from portdraw.reporting.http.openapi import openapi
from portdraw.reporting.live_events import EVENT_STREAM, NO_STREAM_ASKED, LiveEvents
from portdraw.reporting.look import look_from
from portdraw.reporting.metric_text import content_type
from portdraw.reporting.metrics import SiteMetrics
from portdraw.reporting.page import Pages
from portdraw.reporting.site_json import Json, health_json, site_json

NOT_FOUND = "There is nothing at this address. The overview is at /\n"
NOT_ALLOWED = "This address only answers {allowed}. Nothing changes here but alarms that are taken in hand.\n"
GZIP_LEVEL = 2  # of 6 MB of metrics it leaves 5 %; level 9 leaves 4 % and takes thirteen times as long
FAILED = "The agent could not make this page. The reason is in its log.\n"
# a proxy that gathers answers would hold events back; this header tells one common kind of them not to
UNBUFFERED = {"x-accel-buffering": "no"}


def build_app(
    source: Source, registry: SiteMetrics, rules: Rules = OPEN_TO_ALL, desk: AlarmDesk | None = None
) -> Starlette:
    """Return the application over a source; `registry` is what /metrics shows, `desk` takes orders on alarms."""
    pages = Pages(source)
    events = LiveEvents(source)
    headers = safe_headers(pages.content_policy, rules.tls)

    def metrics(request: Request) -> Response:
        told_as = content_type(request.headers.get("accept", ""))
        return Response(registry.text(told_as), headers={"content-type": told_as})

    def health(request: Request) -> Response:
        told = health_json(source.health(), source.now_s())
        return json_answer(told) if may_read(request) else json_answer({"alive": True})

    def ready(request: Request) -> Response:
        state = source.health()
        told: dict[str, Json] = {"ready": state.ready}
        if may_read(request):
            told["reason"] = "" if state.ready else state.why_not_ready or "the agent does not say why"
        return json_answer(told, 200 if state.ready else 503)

    def site(request: Request) -> Response:
        assessment = source.assessment()
        if assessment is None:
            return json_answer({"site": None, "reason": source.health().why_not_ready or NO_ASSESSMENT}, 503)
        return json_answer(site_json(assessment, source.now_s()))

    def description(request: Request) -> Response:
        return json_answer(openapi())

    def overview(request: Request) -> Response:
        query = request.query_params
        return HTMLResponse(pages.overview(query.get("part") == "main", look_from(query)))

    def unit(request: Request) -> Response:
        query = request.query_params
        text = pages.unit(request.path_params["name"], query.get("part") == "main", look_from(query))
        if text is None:
            raise HTTPException(404)
        return HTMLResponse(text)

    async def news(request: Request) -> Response:
        if not asks_for_stream(request.scope["headers"]):
            return PlainTextResponse(NO_STREAM_ASKED, 406)
        if request.method == "HEAD":
            return Response(media_type=EVENT_STREAM)
        return StreamingResponse(events.stream(), media_type=EVENT_STREAM, headers=UNBUFFERED)

    def not_found(request: Request, error: Exception) -> Response:
        return PlainTextResponse(NOT_FOUND, 404)

    def not_allowed(request: Request, error: Exception) -> Response:
        given = (error.headers or {}).get("Allow", "") if isinstance(error, HTTPException) else ""
        allowed = ", ".join(sorted(given.split(", ")))
        return PlainTextResponse(NOT_ALLOWED.format(allowed=allowed), 405, {"allow": allowed})

    def failed(request: Request, error: Exception) -> Response:
        return PlainTextResponse(FAILED, 500, headers)

    app = Starlette(
        routes=[
            Route("/", overview),
            Route("/unit/{name}", unit),
            Route("/events", news),
            Route("/metrics", metrics),
            Route("/health", health),
            Route("/ready", ready),
            Route("/api/v1/site", site),
            *alarm_routes(source, desk),
            Route("/api/v1/openapi.json", description),
        ],
        middleware=[
            Middleware(Guard, headers=headers, rules=rules),
            Middleware(GZipMiddleware, minimum_size=1000, compresslevel=GZIP_LEVEL),
        ],
        exception_handlers={404: not_found, 405: not_allowed, Exception: failed},
    )
    app.state.live_events = events  # so that whoever serves it can end the streams
    return app
