"""Where a device fits: a headline, the ranked ports, and what binds on each leg where it was asked for."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.fit_result import Fit, PortFit
from portdraw.reporting.plain_text import plain
from portdraw.reporting.studies.cautions import STUDY_CAUTION
from portdraw.reporting.studies.study_text import parts_text, print_parts, text_table

_PORTS_SHOWN = 15
_REASONS_SHOWN = 6
_ASSUMED_SHOWN = 12


def print_fit(site: Site, fit: Fit) -> None:
    """Print the answer on standard output."""
    print_parts(_parts(site, fit))


def fit_text(site: Site, fit: Fit) -> str:
    """Return the answer as plain text of 100 columns."""
    return parts_text(_parts(site, fit))


def headline(fit: Fit) -> str:
    """The answer in one sentence or two: the device's own contradiction first, then what its ports say."""
    rest = _of_ports(fit)
    if not fit.own:
        return rest
    return f"As it is described it fits nowhere: {fit.own[0]}. But for that, {rest[:1].lower()}{rest[1:]}"


def _of_ports(fit: Fit) -> str:
    near = fit.wish.near
    where = "here" if near is None else f"at {near}"
    best = next((port for port in fit.asked_for if port.fits), None)
    if best is not None:
        return f"It fits {where}: {best.free.unit} port {best.free.port} is the best of {_count(fit)}."
    other = next((port for port in fit.ports if port.fits), None)
    if not fit.asked_for:
        reason = next((line for line in fit.no_port if line.startswith(f"{near}:")), "no port is free")
        said = f"It does not fit {where}: {reason.removeprefix(f'{near}: ')}."
    else:
        said = f"It does not fit {where}: {fit.asked_for[0].refusal}."
    if other is not None:
        return f"{said} It fits elsewhere: {other.free.unit} port {other.free.port}; measure the cable there."
    return said if near is None else f"{said} Nor does it fit anywhere else."


def own_lines(fit: Fit) -> list[str]:
    """What speaks against the device on every port, besides the headline, and a class that it exceeds."""
    said = [f"Against the device on every port: {reason}." for reason in fit.own[1:]]
    if fit.wish.above_class:
        said.append(f"A finding about the device: {fit.wish.above_class}.")
    return said


def _count(fit: Fit) -> str:
    count = sum(1 + port.free.alike for port in fit.asked_for if port.fits)
    return f"{count} free ports that take it" if count != 1 else "1 free port that takes it"


def _parts(site: Site, fit: Fit) -> Iterator[RenderableType]:
    wish, policy = fit.wish, site.policy
    kind = wish.device_class if isinstance(wish.device_class, int) else "+".join(map(str, wish.device_class))
    watts = ", ".join(f"{case.value} {wish.watts(case):g}" for case in case_order())
    yield Text(f"{plain(site.site.name)}: can this device be added?", style="bold")
    yield Text(f"Class {kind}; watts at the device: {watts}; {wish.length_m:g} m of {wish.cable_type}.")
    yield Text(
        f"Kept free: {policy.margin_percent:g} % of every limit in normal running, "
        f"{policy.margin_after_failure_percent:g} % after any failure; a start-up may use them."
    )
    yield Text("")
    yield Text(plain(headline(fit), 600), style="bold green" if fit.fits else "bold red")
    for line in own_lines(fit):
        yield Text(plain(line), style="yellow")
    if fit.own:
        yield Text("The ports below are held against the rest, as if that were mended.")
    yield from _ranked(fit)
    for port in fit.asked_for[:1] if fit.wish.near is not None or fit.fits else fit.ports[:1]:
        yield from _detail(port)
    for port in fit.ports:
        if not fit.fits and port.fits:
            yield from _detail(port)
            break
    yield from _ending(fit)


def case_order() -> tuple[Case, ...]:
    return (Case.TYPICAL, Case.NIGHT, Case.FROST_NIGHT, Case.STARTUP)


def _ranked(fit: Fit) -> Iterator[RenderableType]:
    if not fit.ports:
        return
    yield Text("\nFree ports, the best first", style="bold")
    table = text_table("unit", "port", "more", "fits", "tightest limit, or what is against it")
    for column in table.columns[1:4]:
        column.no_wrap = True
    for port in fit.ports[:_PORTS_SHOWN]:
        more = f"+{port.free.alike}" if port.free.alike else ""
        said = tightest_words(port) if port.fits else port.refusal
        style = "green" if port.fits else ""
        table.add_row(
            plain(port.free.unit), port.free.port, more, "yes" if port.fits else "no", plain(said), style=style
        )
    yield table
    rest = len(fit.ports) - _PORTS_SHOWN
    if rest > 0:
        yield Text(f"and {rest} more; --json lists all.")
    if any(port.free.alike for port in fit.ports[:_PORTS_SHOWN]):
        yield Text("more: so many other free ports of the unit are just like it.", style="dim")


def tightest_words(port: PortFit) -> str:
    room = port.tightest
    if room is None:
        return "nothing is asked more"
    case = f"start-up beside {room.beside.value}" if room.case is Case.STARTUP else room.case.value
    need = f"{figure(room.limit.need_w)} W of {figure(room.limit.limit_w)} W, {figure(room.room_w)} W to the margin"
    return f"{room.limit.limit}, {room.state}, {case}: {need}"


def _detail(port: PortFit) -> Iterator[RenderableType]:
    title = plain(f"{port.free.unit} port {port.free.port}: the tightest limit on each leg, whatever fails")
    yield Text(f"\n{title}", style="bold")
    if port.legs:
        table = text_table("leg", "case", "limit", "when")
        for head in ("W", "of W", "room"):
            table.add_column(head, justify="right", no_wrap=True)
        for column in table.columns[:2]:
            column.no_wrap = True
        for one in port.legs:
            room = one.room
            figures = [figure(watts) for watts in (room.limit.need_w, room.limit.limit_w, room.room_w)]
            names = (plain(room.limit.limit), plain(room.state))
            style = "red" if room.binds else ""
            table.add_row(one.leg.value, room.case.value, *names, *figures, style=style)
        yield table
        yield Text("room: W left to the margin.", style="dim")
    reasons = against(port)
    if reasons:
        yield Text("Against it:", style="bold")
    for reason in reasons[:_REASONS_SHOWN]:
        yield Text(plain(f"- {reason}"))
    if len(reasons) > _REASONS_SHOWN:
        yield Text(f"and {len(reasons) - _REASONS_SHOWN} more; --json lists all.")
    if port.dark_with:
        more = f" and {len(port.dark_with) - _REASONS_SHOWN} more" if len(port.dark_with) > _REASONS_SHOWN else ""
        yield Text(
            plain(f"Dark with its unit when these fail: {', '.join(port.dark_with[:_REASONS_SHOWN])}{more}.", 600)
        )


def against(port: PortFit) -> list[str]:
    """Everything that speaks against a port, in sentences."""
    return [*port.unpowered, *(room.sentence for room in port.binding), *port.darkens, *port.minutes]


def figure(watts: float) -> str:
    """Watts for a table, a question mark where they can't be computed."""
    return "?" if abs(watts) == float("inf") else f"{watts:.1f}"


def _ending(fit: Fit) -> Iterator[RenderableType]:
    if fit.no_port:
        yield Text("\nNot offered", style="bold")
        for line in fit.no_port[:_ASSUMED_SHOWN]:
            yield Text(plain(line))
    if fit.not_looked_at:
        yield Text(f"\n{fit.not_looked_at} kinds of free ports farther away were not looked at.")
    if fit.assumed:
        yield Text("\nAssumed, as not declared", style="bold")
        for line in fit.assumed[:_ASSUMED_SHOWN]:
            yield Text(plain(line))
        if len(fit.assumed) > _ASSUMED_SHOWN:
            yield Text(f"and {len(fit.assumed) - _ASSUMED_SHOWN} more; --json lists all.")
    yield Text(f"\n{STUDY_CAUTION}", style="dim")
