"""Where a device fits, as JSON: every port, every limit that binds, units in the names of fields."""

from __future__ import annotations

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.fit_result import Fit, LimitRoom, PortFit
from portdraw.reporting.studies.fit_tables import headline


def fit_document(site: Site, fit: Fit) -> dict[str, object]:
    """Return the answer. Watts of the device at its PD input, `at_port_w` and budgets at the PSE output."""
    wish = fit.wish
    return {
        "site": site.site.name,
        "fits": fit.fits,
        "answer": headline(fit),
        "device": {
            "class": wish.device_class,
            **{f"{_key(case)}_w": wish.watts(case) for case in Case if case is not Case.MAXIMUM},
            "length_m": wish.length_m,
            "cable": wish.cable_type,
            "conductor": wish.conductor,
            "near": wish.near,
            "above_class": wish.above_class,
        },
        "against_the_device": list(fit.own),
        "margin_percent": site.policy.margin_percent,
        "margin_after_failure_percent": site.policy.margin_after_failure_percent,
        "ports": [_port(port) for port in fit.ports],
        "not_offered": list(fit.no_port),
        "not_looked_at": fit.not_looked_at,
        "assumed": list(fit.assumed),
    }


def _key(case: Case) -> str:
    return {Case.STARTUP: "startup"}.get(case, case.value.replace(" ", "_"))


def _port(port: PortFit) -> dict[str, object]:
    return {
        "unit": port.free.unit,
        "port": port.free.port,
        "label": port.free.label,
        "alike": port.free.alike,
        "near": ("here", "same zone", "elsewhere")[port.free.nearness],
        "fits": port.fits,
        "refusal": port.refusal,
        "at_port_w": {_key(case): watts for case, watts in port.at_port_w.items()},
        "unpowered": list(port.unpowered),
        "binding": [_room(room) for room in port.binding],
        "darkens": list(port.darkens),
        "minutes": list(port.minutes),
        "dark_with": list(port.dark_with),
        "legs": [{"leg": one.leg.value, **_room(one.room)} for one in port.legs],
        "tightest": None if port.tightest is None else _room(port.tightest),
    }


def _room(room: LimitRoom) -> dict[str, object]:
    return {
        "state": room.state,
        "case": _key(room.case),
        "beside": _key(room.beside),
        "limit": room.limit.limit,
        "drawn_w": _finite(room.limit.drawn_w),
        "booked_w": _finite(room.limit.booked_w),
        "before_w": _finite(room.before_w),
        "limit_w": _finite(room.limit.limit_w),
        "margin_percent": room.margin_percent,
        "to_margin_w": _finite(room.room_w),
        "binds": room.binds,
        "reason": room.limit.reason,
    }


def _finite(watts: float) -> float | None:
    """None for what can't be computed: JSON has no infinity."""
    return None if abs(watts) == float("inf") else round(watts, 3)
