"""The routes of alarms: all of them as JSON, and what a person may do to one."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from portdraw.reporting.current import Source
from portdraw.reporting.http.alarm_desk import AlarmDesk, Deed, order_from
from portdraw.reporting.http.answers import NO_ASSESSMENT, json_answer
from portdraw.reporting.http.guard import NOBODY_OPERATES, OPERATE_PATHS, caller_name
from portdraw.reporting.http.patience import MOST_BODY_OCTETS
from portdraw.reporting.site_json import alarm_json, alarms_json

TOO_LARGE = f"The body is larger than the {MOST_BODY_OCTETS} octets that this agent takes.\n"
NO_JSON_TYPE = "The body must be JSON, and say so: content-type: application/json\n"


class TooLargeError(Exception):
    """A body was larger than what is taken."""


def alarm_routes(source: Source, desk: AlarmDesk | None) -> list[Route]:
    """Return the routes; without a desk nothing can be done to an alarm."""

    def alarms(request: Request) -> Response:
        assessment = source.assessment()
        if assessment is None:
            return json_answer({"alarms": None, "reason": source.health().why_not_ready or NO_ASSESSMENT}, 503)
        return json_answer(alarms_json(assessment))

    def does(deed: Deed) -> Route:
        async def handle(request: Request) -> Response:
            return await _handle(request, deed, source, desk)

        return Route(f"{OPERATE_PATHS}{deed.value}", handle, methods=["POST"])

    return [Route("/api/v1/alarms", alarms), *(does(deed) for deed in Deed)]


async def _handle(request: Request, deed: Deed, source: Source, desk: AlarmDesk | None) -> Response:
    if desk is None:
        return PlainTextResponse(NOBODY_OPERATES, 403)
    # a form of a page from elsewhere can't send this type unasked (Fetch, section 2.2.2)
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        return PlainTextResponse(NO_JSON_TYPE, 415)
    assessment = source.assessment()
    if assessment is None:
        return _error(503, source.health().why_not_ready or NO_ASSESSMENT)
    try:
        order = order_from(deed, await _body(request), caller_name(request))
        if not desk.knows(order.key):
            return _error(404, "there is no such alarm")
        handled = desk.carry_out(order)
    except TooLargeError:
        return PlainTextResponse(TOO_LARGE, 413, {"connection": "close"})
    except ValueError as error:
        return _error(400, str(error))
    if handled is None:
        return _error(409, f"the alarm is not in a state in which one can {deed.value} it")
    return json_answer(
        {
            "alarm": alarm_json(handled.change.alarm, assessment.timezone),
            "was": handled.change.from_state.value,
            "kept": handled.kept,
        }
    )


async def _body(request: Request) -> bytes:
    found = bytearray()
    async for piece in request.stream():
        found += piece
        if len(found) > MOST_BODY_OCTETS:
            raise TooLargeError
    return bytes(found)


def _error(status: int, sentence: str) -> Response:
    return json_answer({"error": sentence}, status)
