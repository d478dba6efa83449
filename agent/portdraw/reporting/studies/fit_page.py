"""Where a device fits, as one HTML paper: the answer, free ports, both legs, and the power when it is tightest."""

from __future__ import annotations

from types import SimpleNamespace

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure import all_unbacked_ac, single_failures
from portdraw.powerflow.failure_study import base_state, solution_after
from portdraw.powerflow.fit_result import Fit, Leg, LimitRoom, PortFit
from portdraw.powerflow.free_port import NEW_DEVICE, site_with
from portdraw.powerflow.load import planned_load
from portdraw.powerflow.network import network_of
from portdraw.reporting.studies.fit_tables import against, case_order, figure, headline, own_lines, tightest_words
from portdraw.reporting.studies.paper import PaperHead, paper_html
from portdraw.reporting.studies.power_diagram import power_diagrams

TITLE = "Where a device fits"
_DETAILS, _PORTS, _ASSUMED, _REASONS = 6, 60, 60, 40


def fit_html(site: Site, fit: Fit, head: PaperHead) -> str:
    """Return the paper."""
    chosen = next((port for port in fit.asked_for if port.fits), None) or next(iter(fit.asked_for or fit.ports), None)
    details = _details(fit, chosen)
    return paper_html(
        "fit.html",
        head,
        TITLE,
        fit=fit,
        policy=site.policy,
        headline=headline(fit),
        own=own_lines(fit),
        kind=_kind(fit),
        watts=[(case.value, f"{fit.wish.watts(case):g}") for case in case_order()],
        ports=fit.ports[:_PORTS],
        ports_more=max(0, len(fit.ports) - _PORTS),
        details=details,
        cases=case_order(),
        diagrams=() if chosen is None else _diagrams(site, fit, chosen),
        assumed=[
            *fit.assumed[:_ASSUMED],
            *([f"and {len(fit.assumed) - _ASSUMED} more; --json lists all."] if len(fit.assumed) > _ASSUMED else []),
        ],
        words=SimpleNamespace(
            figure=figure, tightest=tightest_words, against=lambda port: against(port)[:_REASONS], legs=_legs
        ),
    )


def _kind(fit: Fit) -> str:
    found = fit.wish.device_class
    return str(found) if isinstance(found, int) else "+".join(map(str, found))


def _details(fit: Fit, chosen: PortFit | None) -> list[PortFit]:
    """The port that is meant, then one of each other unit, in their rank."""
    found = [] if chosen is None else [chosen]
    for port in fit.ports:
        if len(found) < _DETAILS and all(port.free.unit != one.free.unit for one in found):
            found.append(port)
    return found


def _legs(port: PortFit) -> list[tuple[str, Case, LimitRoom]]:
    return [(one.leg.value, one.room.case, one.room) for leg in Leg for one in port.legs if one.leg is leg]


def _diagrams(site: Site, fit: Fit, port: PortFit) -> object:
    """The site with the device on a port, in the state in which it is tightest."""
    network = network_of(site_with(site, fit.wish, (port.free,)))
    room = port.tightest
    case = Case.FROST_NIGHT if room is None else room.beside
    base = base_state(network, planned_load(network, case))
    where = f"{NEW_DEVICE} on {port.free.unit} port {port.free.port}"
    failures = [*single_failures(network), *filter(None, [all_unbacked_ac(network)])]
    failure = next((one for one in failures if room is not None and room.state.startswith(f"{one.what} lost")), None)
    if failure is None:
        return power_diagrams(base.likely, f"Normal running, {case.value}, {where}")
    return power_diagrams(solution_after(base, failure), f"{failure.what} lost, {case.value}, {where}")
