"""Where a device can be added: every free port on every tier, both legs, every case and every single failure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from portdraw.plan.load_case import Case
from portdraw.plan.site import Site
from portdraw.powerflow.failure import SINGLE_PROMISE, FailureKind
from portdraw.powerflow.failure_result import FailureResult
from portdraw.powerflow.failure_study import Base, FailureStudy, base_state, study_failures, study_one
from portdraw.powerflow.fit_offer import NEW, NORMAL, THE_PORT, Answer, Fit, LegCase, Offer, Refusal
from portdraw.powerflow.fit_request import CASES, STEADY, Candidate, NewDevice, Trial, try_out
from portdraw.powerflow.limit_state import LimitState, limit_states
from portdraw.powerflow.load import DARK, MAY, SURE
from portdraw.powerflow.shedding import STEP_W
from portdraw.powerflow.solve import Solution, solve_after
from portdraw.powerflow.state import Outage
from portdraw.powerflow.unit_flow import CarriedBy

MOST_UNITS = 20  # that are tried in full, the nearest first; the others are named as not tried


def study_fit(site: Site, wanted: NewDevice) -> Fit:
    """Try the device on the free ports of a site. Raises KeyError where `wanted.near` is not a unit of the file."""
    trial = try_out(site, wanted)
    by_unit: dict[str, list[Candidate]] = {}
    for one in sorted(trial.candidates, key=lambda one: one.ring):
        by_unit.setdefault(one.unit, []).append(one)
    names = list(by_unit)
    judge = _Judge(trial)
    offers = [offer for name in names[:MOST_UNITS] for offer in judge.offers(by_unit[name])]
    order = list(Answer)
    offers.sort(key=lambda offer: (order.index(offer.answer), offer.ring, _load_of(offer)))
    assumed = {
        line.partition(": ")[2]: None
        for one in trial.candidates[:1]
        for line in trial.network.units[one.at].ports[one.port].line.link.assumed
    }
    return Fit(
        wanted=wanted,
        offers=tuple(offers),
        full=tuple(name for name, unit in site.units.items() if name not in by_unit and unit.pse is not None),
        not_tried=tuple(names[MOST_UNITS:]),
        assumed=tuple(assumed),
    )


def _load_of(offer: Offer) -> float:
    return max((one.share for one in offer.legs), default=0.0)


class _Judge:
    """Holds the site without the device, case by case, and judges each port against it."""

    def __init__(self, trial: Trial) -> None:
        self._trial, self._network = trial, trial.network
        self._policy = trial.network.site.policy
        self._before: dict[Case, FailureStudy] = {}

    def offers(self, ports: list[Candidate]) -> list[Offer]:
        """The ports of one unit; where the first and the last answer alike, so do those between."""
        first, last = self._offer(ports[0]), self._offer(ports[-1])
        if _short(first) == _short(last):
            return [replace(first, ports=tuple(one.key for one in ports))]
        found: dict[object, Offer] = {}
        for offer in (first, *(self._offer(one) for one in ports[1:-1]), last):
            same = found.get(_short(offer))
            found[_short(offer)] = offer if same is None else replace(same, ports=same.ports + offer.ports)
        return list(found.values())

    def _offer(self, one: Candidate) -> Offer:
        refusals: list[Refusal] = []
        legs: list[LegCase] = []
        notes: dict[str, None] = {}
        for case in CASES:
            load = self._trial.loads[case].units[one.at]
            if load.status[one.port] != SURE:
                why = load.reasons.get(one.port, "").partition(": ")[2] or "it can't be powered"
                refusals.append(Refusal(case, THE_PORT, "", reason=why))
                continue
            base = base_state(self._network, self._trial.loads[case], self._trial.without(one))
            refusals.extend(self._at_rest(one, case, base))
            legs.extend(self._legs(one, case, base))
            refusals.extend(self._failures(one, case, base, notes))
        return Offer(
            one.unit,
            (one.key,),
            one.ring,
            tuple(sorted(dict.fromkeys(refusals), key=lambda refusal: refusal.rank)),
            tuple(legs),
            tuple(notes),
        )

    def _study(self, case: Case) -> FailureStudy:
        """The site without the device."""
        found = self._before.get(case)
        if found is None:
            found = study_failures(self._network, self._trial.loads[case], self._trial.without())
            self._before[case] = found
        return found

    def _path(self, at: int) -> tuple[list[int], set[str]]:
        """A unit and all above it, with the circuits and UPS that they live from."""
        found = [at]
        for here in found:
            found.extend(feed.feeder for feed in self._network.units[here].feeds if feed.feeder not in found)
        sources = {source for here in found for source in self._network.units[here].sources}
        site = self._network.site
        return found, sources | {site.ups[name].input for name in sources if name in site.ups}

    def _limits(self, one: Candidate, solution: Solution) -> dict[str, LimitState]:
        path, _ = self._path(one.at)
        return {limit.limit: limit for limit in limit_states(solution, path)}

    def _allowed_w(self, limit: LimitState, case: Case, margin_percent: float) -> float:
        return limit.limit_w * (1 - margin_percent / 100) if case in STEADY else limit.limit_w

    def _at_rest(self, one: Candidate, case: Case, base: Base) -> Iterator[Refusal]:
        """Normal running: every limit on the way up with its margin, and everybody with power."""
        was = self._limits(one, self._study(case).base.likely)
        leg = base.likely.standing(one.at).leg
        for name, limit in self._limits(one, base.likely).items():
            allowed_w = self._allowed_w(limit, case, self._policy.margin_percent)
            before_w = was[name].need_w if name in was else 0.0
            if limit.need_w > allowed_w + STEP_W and limit.need_w > before_w + STEP_W:
                yield Refusal(case, NORMAL, _said(leg), name, before_w, limit.need_w, limit.limit_w, allowed_w)
        state = base.bounds.device_state(one.at, one.port)
        before = self._study(case).base
        dark = {*base.dark, *base.may} - before.dark - before.may
        dark.discard((one.at, one.port))
        names = [self._network.units[at].ports[port].device or "" for at, port in sorted(dark)]
        if state in (DARK, MAY):
            names.insert(0, NEW)
        if names:
            yield Refusal(case, NORMAL, _said(leg), devices=tuple(names))

    def _legs(self, one: Candidate, case: Case, base: Base) -> Iterator[LegCase]:
        """The most loaded limit on each leg that the unit has."""
        unit = self._network.units[one.at]
        lost = Outage(supplies=frozenset((one.at, place) for place in range(len(unit.sources))))
        states: list[tuple[Solution, float]] = [(base.likely, self._policy.margin_percent)]
        if unit.sources and unit.feeds:
            if base.likely.standing(one.at).leg is CarriedBy.AC:
                other = solve_after(base.likely, lost, {one.at})
            else:
                feeds = Outage(feeds=frozenset((one.at, place) for place in range(len(unit.feeds))))
                other = solve_after(base.likely, feeds, {one.at, *(feed.feeder for feed in unit.feeds)})
            states.append((other, self._policy.margin_after_failure_percent))
        for solution, margin in states:
            leg = solution.standing(one.at).leg
            found = [
                LegCase(leg, case, limit, self._allowed_w(limit, case, margin))
                for limit in self._limits(one, solution).values()
            ]
            if found and leg is not CarriedBy.NONE:
                yield max(found, key=lambda leg_case: leg_case.share)

    def _failures(self, one: Candidate, case: Case, base: Base, notes: dict[str, None]) -> Iterator[Refusal]:
        """Every single failure that has to do with the way up, and all unbacked AC, with and without the device."""
        path, sources = self._path(one.at)
        ways = set(path)
        new = self._network.units[one.at].ports[one.port].device or ""
        for was in self._study(case).results:
            failure = was.failure
            near = ways.intersection(was.touched_numbers) or ways.intersection(failure.hit)
            if not near and not sources.intersection(failure.outage.inputs) and failure.subject not in sources:
                continue
            now = study_one(base, failure)
            judged = self._judged(failure.kind)
            leg = _said(self._leg_after(one, base, now))
            gone = [name for name in now.verdict.broken_by if name not in was.verdict.broken_by]
            if gone:
                names = tuple(NEW if name == new else name for name in gone)
                yield replace(self._limit(case, leg, was, now), devices=names)
            elif judged and now.verdict.outcome is not was.verdict.outcome:
                yield Refusal(case, _when(now), leg, reason="; ".join(now.verdict.reasons))
            if judged and not gone:
                found = self._limit(case, leg, was, now)
                worse = found.before_w is None or found.need_w > found.before_w + STEP_W
                if found.limit and worse and found.need_w > found.allowed_w + STEP_W:
                    yield found
            others = {*now.dark, *now.may_go_dark} - {*was.dark, *was.may_go_dark, new, *gone}
            if others and case in STEADY:
                notes[f"{case.value}, {_when(now)}: also goes dark: {', '.join(sorted(others))}"] = None

    def _leg_after(self, one: Candidate, base: Base, now: FailureResult) -> CarriedBy:
        leg = base.likely.standing(one.at).leg
        if one.at not in now.moved_numbers:
            return leg
        return CarriedBy.AC if leg is CarriedBy.FEED else CarriedBy.FEED

    def _limit(self, case: Case, leg: str, was: FailureResult, now: FailureResult) -> Refusal:
        """The limit that a failure loads most, with and without the device."""
        limit = now.worst
        if limit is None:
            return Refusal(case, _when(now), leg)
        seen = (*was.over, was.worst) if was.worst is not None else was.over
        before = next((one.need_w for one in seen if one.limit == limit.limit), None)
        allowed_w = self._allowed_w(limit, case, self._policy.margin_after_failure_percent)
        return Refusal(case, _when(now), leg, limit.limit, before, limit.need_w, limit.limit_w, allowed_w)

    def _judged(self, kind: FailureKind) -> bool:
        promise = self._policy.must_survive
        if kind is FailureKind.ALL_UNBACKED_AC:
            return promise.all_unbacked_ac is not None
        return kind in SINGLE_PROMISE and promise.any_single != "none"


def _when(result: FailureResult) -> str:
    return f"{result.failure.what} lost"


def _said(leg: CarriedBy) -> str:
    return {CarriedBy.AC: "on local AC", CarriedBy.FEED: "on PoE feed"}.get(leg, "")


def _short(offer: Offer) -> tuple[tuple[object, ...], ...]:
    """What must be the same for two ports to answer alike."""
    return tuple((one.case, one.state, one.limit, one.devices, round(one.need_w, 3)) for one in offer.refusals)
