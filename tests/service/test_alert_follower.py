"""A real Alertmanager follows our alarms: repeated while up, ended on return, over restarts of both sides."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from tests.reporting.notify.real_alertmanager import PASSWORD, RealAlertmanager
from tests.reporting.samples import HOSTILE, NOW_S, ac_lost, ac_lost_alarm
from tests.service.receiver import Receiver

from portdraw.history.store import History
from portdraw.judgement.alarm import Alarm, AlarmState, Severity
from portdraw.judgement.assessment import SiteAssessment
from portdraw.reporting.current import ReceiverHealth
from portdraw.reporting.notify.alarm_message import trial_message
from portdraw.reporting.notify.alertmanager import TRIAL_NAME, Alertmanager, labels_of, settled_severity
from portdraw.service import alert_follower
from portdraw.service.alert_follower import AlertFollower
from portdraw.service.clock import Clock

BERTH, PIER = ac_lost_alarm("berth-1"), ac_lost_alarm("north-pier")
LABELS = {
    "alertname": "local-ac-lost",
    "site": "Skarholm ferry terminal",
    "unit": "berth-1",
    "severity": "urgent",
    "emulated": "true",
}


@pytest.fixture(scope="module")
def real(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RealAlertmanager]:
    with RealAlertmanager(tmp_path_factory.mktemp("am") / "run") as one:
        yield one


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    one = History.open(tmp_path / "history", "UTC")
    yield one
    one.close()


def site(*alarms: Alarm) -> SiteAssessment:
    return replace(ac_lost(), alarms=alarms)


class Following:
    """A follower that can be restarted; each call of `tell` is a round in which everything is due."""

    def __init__(self, url: str, history: History) -> None:
        self.receiver, self.history = Alertmanager(url), history
        self.restart()

    def restart(self) -> None:
        self.follower = AlertFollower("am", self.receiver, self.history, Clock(NOW_S))

    def tell(self, *alarms: Alarm) -> ReceiverHealth | None:
        return asyncio.run(self.follower.round(site(*alarms), 20.0, 0.0))


def units(real: RealAlertmanager) -> list[str]:
    return [alert["labels"]["unit"] for alert in real.active()]


@pytest.fixture
def always_due(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(alert_follower, "REPEAT_EVERY_S", 0.0)


@pytest.mark.usefixtures("always_due")
def test_up_repeated_and_over(real: RealAlertmanager, history: History) -> None:
    am = Following(real.url, history)
    assert am.tell(BERTH) == ReceiverHealth("am", True, "")
    (first,) = real.active()
    assert first["labels"] == LABELS
    assert first["annotations"] == {
        "summary": f"EMULATED: {BERTH.sentence}",
        "place": "cabinet at berth 1",
        "running_on": "PoE feed from core port 2, believed",
        "why_severity": BERTH.why_severity,
        "consequence": BERTH.consequence,
        "action": BERTH.action,
    }
    assert first["status"]["state"] == "active"
    # repeated: the same alert, and its end moves on
    reworded = replace(BERTH, sentence="Local AC lost at berth-1: 12 min now.", state=AlarmState.ACKNOWLEDGED)
    am.tell(reworded, PIER)
    again, other = real.active()
    assert (again["fingerprint"], other["labels"]["unit"]) == (first["fingerprint"], "north-pier")
    assert again["annotations"]["summary"].endswith("12 min now.")
    assert again["annotations"]["acknowledged_by"]
    assert abs(_time(again["startsAt"]) - _time(first["startsAt"])) < 60  # the clocks run while this test does
    assert _time(again["endsAt"]) > _time(first["endsAt"])
    assert _time(again["endsAt"]) - _time(again["updatedAt"]) == pytest.approx(alert_follower.ENDS_AFTER_S, abs=60)
    # returning is still up; returned is over, and its neighbour stays
    am.tell(replace(BERTH, state=AlarmState.RETURNING), PIER)
    assert units(real) == ["berth-1", "north-pier"]
    am.tell(replace(BERTH, state=AlarmState.RETURNED, ended_s=NOW_S), PIER)
    assert units(real) == ["north-pier"]
    am.tell()
    assert units(real) == []


@pytest.mark.usefixtures("always_due")
def test_what_ended_while_we_were_away_is_ended_after_our_restart(real: RealAlertmanager, history: History) -> None:
    am = Following(real.url, history)
    am.tell(BERTH, PIER)
    am.restart()
    am.tell(PIER)
    assert units(real) == ["north-pier"]
    am.restart()
    am.tell()
    assert units(real) == []


@pytest.mark.usefixtures("always_due")
def test_what_ended_while_it_was_away_is_ended_when_it_is_back(tmp_path: Path, history: History) -> None:
    with RealAlertmanager(tmp_path / "am") as real:
        am = Following(real.url, history)
        am.tell(BERTH)
        real.stop()
        told = am.tell()
        assert told is not None
        assert not told.ok
        assert told.last_error.startswith("no connection")
        real.start()
        assert am.tell() == ReceiverHealth("am", True, "")
        assert units(real) == []


@pytest.mark.usefixtures("always_due")
@pytest.mark.parametrize("aside", [AlarmState.SHELVED, AlarmState.SUPPRESSED])
def test_what_is_set_aside_is_not_repeated_and_comes_back(
    real: RealAlertmanager, history: History, aside: AlarmState
) -> None:
    am = Following(real.url, history)
    am.tell(BERTH)
    am.tell(replace(BERTH, state=aside))
    assert units(real) == []
    am.tell(BERTH)
    assert units(real) == ["berth-1"]
    am.tell()


@pytest.mark.usefixtures("always_due")
def test_a_severity_that_rises_takes_the_place_of_the_other_and_does_not_fall(
    real: RealAlertmanager, history: History
) -> None:
    am = Following(real.url, history)
    for severity, told in (("warning", "warning"), ("urgent", "urgent"), ("warning", "urgent"), ("notice", "urgent")):
        am.tell(replace(BERTH, severity=Severity(severity)))
        assert [alert["labels"]["severity"] for alert in real.active()] == [told]
    am.tell()
    assert real.active() == []


def test_told_at_once_and_repeated_only_each_minute(history: History) -> None:
    async def work() -> None:
        desk = await _ListReceiver.listening()
        follower = AlertFollower("am", Alertmanager(desk.base), history, Clock(NOW_S))
        assert await follower.round(site(), 20.0, 0.0) is None  # nothing to say
        for alarms in ((BERTH,), (BERTH,), (BERTH, PIER), (BERTH, PIER), (PIER,), (PIER,)):
            await follower.round(site(*alarms), 20.0, 0.0)
        await desk.stop()
        assert [len(alerts) for alerts in desk.alerts] == [1, 2, 2]
        assert alert_follower.REPEAT_EVERY_S * 5 <= alert_follower.ENDS_AFTER_S

    asyncio.run(work())


@pytest.mark.usefixtures("always_due")
def test_hostile_texts_arrive_as_texts(real: RealAlertmanager, history: History) -> None:
    am = Following(real.url, history)
    am.tell(replace(BERTH, sentence=HOSTILE, unit=HOSTILE, port=HOSTILE))
    (alert,) = real.active()
    assert all(ord(letter) >= 32 for text in alert["labels"].values() for letter in text)
    am.tell()


def test_user_and_password(tmp_path: Path) -> None:
    with RealAlertmanager(tmp_path / "am", user="watch") as real:
        message = trial_message("Skarholm", False, NOW_S, "UTC")
        refused = asyncio.run(Alertmanager(real.url).send(message, 0, 20.0))
        assert refused.error == "answered 401: it wants other credentials"
        known = Alertmanager(real.url, user="watch", password=PASSWORD)
        assert asyncio.run(known.send(message, 0, 20.0)).ok
        (alert,) = real.active()
        assert alert["labels"] == {"alertname": TRIAL_NAME, "site": "Skarholm", "severity": "notice"}
        assert "nothing has happened" in alert["annotations"]["summary"]
        assert PASSWORD.decode() not in repr(known)


def test_a_token_goes_in_the_header() -> None:
    async def work() -> None:
        desk = await _ListReceiver.listening()
        assert (await Alertmanager(f"{desk.base}/base/", token=b"open-sesame").post([], 20.0)).ok
        await desk.stop()
        assert desk.headers[0]["authorization"] == "Bearer open-sesame"  # RFC 6750, section 2.1

    asyncio.run(work())


def test_labels_hold_no_reading_and_no_time() -> None:
    later = replace(BERTH, value=12.0, limit=30.0, sentence="otherwise", began_s=1.0, raised_s=2.0)
    assert labels_of(later, "Skarholm", False, Severity.URGENT) == labels_of(
        BERTH, "Skarholm", False, Severity.URGENT
    )
    assert settled_severity(BERTH, None) is settled_severity(BERTH, "nonsense") is BERTH.severity


class _ListReceiver(Receiver):
    """Takes lists of alerts."""

    @classmethod
    async def listening(cls) -> _ListReceiver:
        one = cls()
        await one.start()
        return one

    @property
    def base(self) -> str:
        return self.url.removesuffix("/alarms")

    @property
    def alerts(self) -> list[Any]:
        return self.heard

    def _next(self, message: Any) -> int | str:
        return 200


def _time(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()
