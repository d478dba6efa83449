"""The emulated site's physics against the worked example of the ferry terminal.

The figures were worked out by a separate solver, and volts and watts agreed with a circuit simulator. They are
printed to 0.1 W (cable losses to 0.01 W), so half a digit is the tolerance, and 0.5 W at most.
"""

from __future__ import annotations

import pytest
from tests.rehearsal.terminal import NIGHT_S, NOON_S, SITE_FILE, UNBACKED, frost, losing, terminal

from portdraw.plan.loader import parse_site
from portdraw.rehearsal.load import visitor
from portdraw.rehearsal.physics import Physics
from portdraw.rehearsal.plant import BOOT_S
from portdraw.rehearsal.story import LIVE, STILL, Plug, Restore, Scene, Story, Trip
from portdraw.rehearsal.truth import SiteTruth
from portdraw.rehearsal.wiring import RehearsalError

# unit: on AC out, AC draw; on feed: need at the PD, budget, volts at the PD, cable loss, watts at the feeder
FROST_NIGHT: dict[str, tuple[float, float, float, float, float, float, float]] = {
    "north-pier": (36.8, 50.4, 67.5, 59.6, 47.7, 8.86, 76.4),
    "breakwater": (14.4, 21.4, 19.6, 19.8, 51.2, 1.09, 20.7),
    "berth-1": (55.5, 72.4, 66.8, 59.6, 48.5, 7.63, 74.4),
    "berth-2": (49.0, 64.8, 59.8, 59.6, 48.0, 7.41, 67.2),
    "entry-lanes": (51.0, 68.9, 63.5, 58.2, 49.8, 5.35, 68.8),
    "exit-lanes": (51.6, 69.5, 64.1, 58.2, 49.1, 6.40, 70.5),
    "ticket-hall": (49.6, 67.2, 61.9, 58.2, 51.5, 2.97, 64.9),
    "waiting-room": (46.4, 63.5, 58.5, 58.2, 51.1, 3.30, 61.8),
}
SHED_IN_ORDER = ("17", "16", "15", "14", "18", "13", "12", "11", "10", "9", "7")


def _quiet(start_s: float, story: Story = STILL, cold: bool = False) -> Physics:
    return Physics(terminal(), start_s, 1, story, noise_share=0.0, temperature=frost if cold else None)


def _after_loss(start_s: float, *circuits: str, cold: bool = False) -> SiteTruth:
    physics = _quiet(start_s, losing(*circuits), cold)
    physics.step(start_s + 60)
    return physics.truth()


def _assert_balanced(truth: SiteTruth) -> None:
    used = truth.devices_w + truth.cables_w + truth.own_use_w + truth.conversion_w
    assert truth.given_w == pytest.approx(used, abs=1e-6)


@pytest.mark.parametrize("name", FROST_NIGHT)
def test_frost_night_on_ac(name: str) -> None:
    truth = _quiet(NIGHT_S, cold=True).truth()
    _assert_balanced(truth)
    out_w, ac_w, *_ = FROST_NIGHT[name]
    assert truth.units[name].outputs_w == pytest.approx(out_w, abs=0.06)
    assert truth.units[name].ac_w == pytest.approx(ac_w, abs=0.06)
    assert truth.units[name].leg == "ac"
    assert truth.units[name].source == "both"


@pytest.mark.parametrize("name", [name for name in FROST_NIGHT if name != "waiting-room"])
def test_frost_night_after_loss_of_all_ac(name: str) -> None:
    unit = _after_loss(NIGHT_S, *UNBACKED, cold=True).units[name]
    _, _, feed_pd_w, budget_w, feed_v, lost_w, feeder_w = FROST_NIGHT[name]
    assert unit.leg == "feed"
    assert unit.source == "pse"
    assert unit.feed_pd_w == pytest.approx(feed_pd_w, abs=0.06)
    assert unit.budget_w == pytest.approx(budget_w, abs=0.06)
    assert unit.feed_v == pytest.approx(feed_v, abs=0.06)
    assert unit.feed_lost_w == pytest.approx(lost_w, abs=0.006)
    assert unit.feeder_w == pytest.approx(feeder_w, abs=0.06)


def test_core_sheds_by_priority_then_highest_port() -> None:
    truth = _after_loss(NIGHT_S, *UNBACKED, cold=True)
    _assert_balanced(truth)
    core = truth.units["core"]
    assert core.wanted_w == pytest.approx(562.2, abs=0.5)
    assert set(core.shed) == set(SHED_IN_ORDER)
    assert core.outputs_w <= 440
    # 61.8 W is what the shed feed of waiting-room asked at the core
    assert core.outputs_w == pytest.approx(562.181 - 61.8 - 78.2, abs=0.2)
    assert not truth.units["waiting-room"].powered
    assert not truth.units["waiting-room"].answers
    assert len(truth.dark_devices) == 15


def test_unlimited_core_balances_as_worked() -> None:
    text = (
        SITE_FILE.read_text(encoding="utf-8")
        .replace("pse_share_w: 220", "pse_share_w: 400")
        .replace("budget_w: 440", "budget_w: 800")
    )
    site = parse_site(text, "roomy.yaml")
    physics = Physics(site, NIGHT_S, 1, losing(*UNBACKED), noise_share=0.0, temperature=frost)
    physics.step(NIGHT_S + 60)
    truth = physics.truth()
    assert truth.dark_devices == ()
    core = truth.units["core"]
    assert core.outputs_w == pytest.approx(562.181, abs=0.001)
    assert truth.devices_w == pytest.approx(426.1, abs=0.001)
    assert truth.cables_w == pytest.approx(48.089, abs=0.001)
    assert truth.own_use_w - 38 == pytest.approx(55.5, abs=0.001)
    # at the core's outputs, so without the losses of the core's own supply modules
    assert truth.conversion_w - (core.ac_w - core.outputs_w - 38) == pytest.approx(32.492, abs=0.001)


@pytest.mark.parametrize(
    ("start_s", "normal_w", "lost_w", "dark"), [(NOON_S, 79.0, 410.3, 0), (NIGHT_S, 81.1, 460.4, 3)]
)
def test_noon_survives_what_night_does_not(start_s: float, normal_w: float, lost_w: float, dark: int) -> None:
    assert _quiet(start_s).truth().units["core"].outputs_w == pytest.approx(normal_w, abs=0.06)
    truth = _after_loss(start_s, *UNBACKED)
    assert truth.units["core"].wanted_w == pytest.approx(lost_w, abs=0.06)
    assert len(truth.dark_devices) == dark
    if dark:
        assert set(truth.dark_devices) == {"foyer-sign", "office-phone-1", "office-phone-2"}


@pytest.mark.parametrize("circuit", [*UNBACKED, "hall-1"])
def test_no_single_circuit_darkens_anything(circuit: str) -> None:
    truth = _after_loss(NIGHT_S, circuit, cold=True)
    _assert_balanced(truth)
    assert truth.dark_devices == ()


def test_what_is_true_depends_on_the_time_and_never_on_who_looks() -> None:
    often, once = (Physics(terminal(), NIGHT_S, 5, LIVE) for _ in range(2))
    for second in range(0, 1200, 7):
        often.step(NIGHT_S + second)
        often.step(NIGHT_S + second)  # the same time again
        often.step(NIGHT_S + second - 300)  # and a time that has passed
    often.step(NIGHT_S + 1203)
    once.step(NIGHT_S + 1203)
    assert often.truth() == once.truth()
    other = Physics(terminal(), NIGHT_S, 6, LIVE)
    other.step(NIGHT_S + 1203)
    assert other.truth() != once.truth()


def test_every_step_of_the_story_balances() -> None:
    physics = Physics(terminal(), NIGHT_S, 5, LIVE)
    for second in range(0, 1300, 25):
        physics.step(NIGHT_S + second)
        _assert_balanced(physics.truth())
        for unit in physics.truth().units.values():
            assert unit.outputs_w <= unit.budget_w + 1e-6


def test_a_dark_unit_boots_and_starts_up_when_its_ac_returns() -> None:
    scenes = (*losing(*UNBACKED).scenes, Scene(300, Restore("hall-2"), "hall-2 is back"))
    physics = _quiet(NIGHT_S, Story(scenes), cold=True)
    physics.step(NIGHT_S + 300)
    room = physics.truth().units["waiting-room"]
    assert (room.powered, room.answers, room.source) == (True, False, "local")  # its feed stays shed
    assert room.outputs_w == 0  # it boots for 60 s before its ports work
    physics.step(NIGHT_S + 300 + BOOT_S)
    room = physics.truth().units["waiting-room"]
    assert room.port_w["3"] == pytest.approx(15.0, abs=0.3)  # access point, start-up watts and its cable
    physics.step(NIGHT_S + 300 + BOOT_S + 95)
    room = physics.truth().units["waiting-room"]
    assert room.answers
    assert room.port_w["3"] == pytest.approx(13.1, abs=0.1)  # frost night, 13.0 W at the PD and its cable
    assert physics.units["waiting-room"].boots == 2
    assert physics.truth().units["core"].port_state["7"] == "searching"


def test_newcomers_are_admitted_by_the_watts_of_their_class() -> None:
    # breakwater lives on its feed: 19.8 W of budget, 11.9 W drawn at noon. Class 1 sets 4.0 W aside and draws 2; then
    # not even class 3 (15.4 W), what a class 4 is offered instead, is free (RFC 3621 power denied)
    scenes = (
        *losing("pier-7").scenes,
        Scene(80, Plug("breakwater", "5", visitor("small", 1, 2.0)), ""),
        Scene(80, Plug("breakwater", "6", visitor("large", 4, 13.0)), ""),
    )
    physics = _quiet(NOON_S, Story(scenes))
    physics.step(NOON_S + 80)
    unit = physics.truth().units["breakwater"]
    assert unit.port_state["5"] == "delivering"
    assert unit.port_state["6"] == "searching"
    assert (unit.denied["5"], unit.denied["6"]) == (0, 1)
    physics.step(NOON_S + 220)  # it asks again every 30 s
    assert physics.truth().units["breakwater"].denied["6"] == 5


def test_a_class_4_newcomer_is_granted_class_3_where_class_4_does_not_fit() -> None:
    # breakwater on AC: 30 W, 11.9 drawn at noon: 30 W are not free, 15.4 W are (IEEE 802.3, demotion)
    physics = _quiet(NOON_S, Story((Scene(60, Plug("breakwater", "6", visitor("large", 4, 12.0)), ""),)))
    physics.step(NOON_S + 60)
    port = physics.units["breakwater"].ports["6"]
    assert (port.on, port.granted, port.denied) == (True, 3, 0)


def test_a_hidden_spare_feed_draws_nothing_until_it_is_needed() -> None:
    text = SITE_FILE.read_text(encoding="utf-8").replace("spare_feed: held", "spare_feed: hidden")
    physics = Physics(parse_site(text, "hidden.yaml"), NOON_S, 1, losing("pier-7"), noise_share=0.0)
    assert physics.truth().units["core"].port_state["1"] == "searching"
    assert physics.truth().units["north-pier"].source == "local"
    physics.step(NOON_S + 60)
    assert not physics.truth().units["north-pier"].powered  # the feeder has still to detect and to classify it
    physics.step(NOON_S + 65)
    assert physics.truth().units["core"].port_state["1"] == "delivering"


def test_a_site_that_cannot_be_emulated_is_refused_in_one_sentence() -> None:
    site = terminal()
    mute = site.units["berth-1"].model_copy(update={"pse": None, "ports": {}})
    site = site.model_copy(update={"units": {**site.units, "berth-1": mute}})
    with pytest.raises(RehearsalError, match=r"^the rehearsal can't start: unit berth-1 has no pse"):
        Physics(site, NOON_S, 1)


def test_a_port_that_the_story_names_must_exist() -> None:
    physics = _quiet(NOON_S, Story((Scene(5, Plug("core", "99", visitor("x", 1, 1.0)), ""),)))
    with pytest.raises(RehearsalError, match="port 99 of core"):
        physics.step(NOON_S + 5)


def test_a_long_sleep_is_crossed_with_every_event_played() -> None:
    physics = Physics(terminal(), NOON_S, 1, Story((Scene(86_400, Trip("pier-7"), ""),)))
    physics.step(NOON_S + 10 * 86_400)
    assert physics.truth().lost_circuits == {"pier-7"}
    assert physics.serial < 5000
