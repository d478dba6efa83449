"""The description of the API: valid, complete both ways, and what is answered is as it says."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
import pytest
from jsonschema import Draft202012Validator, FormatChecker
from openapi_spec_validator import validate
from starlette.routing import Route
from tests.reporting.samples import (
    SampleSource,
    ac_lost,
    all_fine,
    healthy,
    hostile,
    nothing_known,
    silent_unit,
    source,
)

from portdraw.judgement.alarm import AlarmState, Severity
from portdraw.observation.record import Basis
from portdraw.reporting.current import Source
from portdraw.reporting.http.app import build_app
from portdraw.reporting.http.openapi import openapi
from portdraw.reporting.metrics import site_registry

NOT_READY = SampleSource(None, healthy())


def test_it_is_openapi() -> None:
    """Checked by an independent validator against the OpenAPI 3.1 schema."""
    validate(openapi())


def test_every_route_is_described_and_nothing_else_is() -> None:
    told = source(all_fine())
    served = {
        (route.path, method.lower())
        for route in build_app(told, site_registry(told)).routes
        if isinstance(route, Route)
        for method in route.methods or ()
        if method != "HEAD"
    }
    described = {(path, method) for path, item in openapi()["paths"].items() for method in item}
    assert served == described


@pytest.mark.parametrize(
    ("schema", "words"),
    [
        (openapi()["components"]["schemas"]["Alarm"]["properties"]["state"], AlarmState),
        (openapi()["components"]["schemas"]["Alarm"]["properties"]["severity"], Severity),
    ],
)
def test_the_words_are_those_of_the_code(schema: dict[str, Any], words: Any) -> None:
    assert schema["enum"] == [word.value for word in words]


def test_every_basis_is_named() -> None:
    named = openapi()["components"]["schemas"]["Basis"]["enum"]
    assert {basis.value for basis in Basis} | {None} == set(named)


def get(told: Source, path: str) -> httpx.Response:
    async def ask() -> httpx.Response:
        transport = httpx.ASGITransport(build_app(told, site_registry(told)))
        async with httpx.AsyncClient(transport=transport, base_url="http://agent") as asked:
            return await asked.get(path)

    return asyncio.run(ask())


def schema_of(path: str, status: int, media_type: str) -> dict[str, Any]:
    """Return the schema of an answer, with what it refers to."""
    answer = openapi()["paths"][path]["get"]["responses"][str(status)]
    if "$ref" in answer:
        answer = openapi()["components"]["responses"][answer["$ref"].rsplit("/", 1)[1]]
    found: dict[str, Any] = answer["content"][media_type]["schema"]
    return {**found, "components": openapi()["components"]}


SAMPLES = [source(sample()) for sample in (all_fine, ac_lost, silent_unit, nothing_known, hostile)]


@pytest.mark.parametrize("path", ["/health", "/ready", "/api/v1/site", "/api/v1/alarms", "/api/v1/openapi.json"])
@pytest.mark.parametrize("told", [*SAMPLES, NOT_READY])
def test_what_is_answered_is_as_described(path: str, told: Source) -> None:
    answer = get(told, path)
    schema = schema_of(path, answer.status_code, "application/json")
    errors = list(Draft202012Validator(schema, format_checker=FormatChecker()).iter_errors(answer.json()))
    assert [f"{error.json_path}: {error.message}" for error in errors] == []


@pytest.mark.parametrize(
    "name", ["Site", "Alarm", "Unit", "Port", "Leg", "Failure", "Outlook", "Finding", "Health", "Alarms", "Handled"]
)
def test_the_description_is_strict_and_asks_for_every_field(name: str) -> None:
    schema = openapi()["components"]["schemas"][name]
    assert schema["additionalProperties"] is False
    assert set(schema["required"]) == set(schema["properties"])
