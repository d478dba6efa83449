"""TLVs about power, octet by octet, against a library that builds them (tests/references/lldp_power_tlvs.csv)."""

from __future__ import annotations

import random

import pytest
from tests.references.reference_table import rows

from portdraw.observation.record import PowerSource
from portdraw.reading.power_tlv import (
    IEEE_8023,
    MEASUREMENTS,
    POWER_VIA_MDI,
    Extension,
    Measurements,
    NotATlvError,
    PowerViaMdi,
    Quantified,
    measurements,
    power_via_mdi,
    split_tlv,
)

OCTETS = {row["tlv"]: bytes.fromhex(row["octets"]) for row in rows("lldp_power_tlvs.csv")}


def mdi(name: str) -> PowerViaMdi:
    oui, subtype, info = split_tlv(OCTETS[name])
    assert (oui, subtype) == (IEEE_8023, POWER_VIA_MDI)
    return power_via_mdi(info)


def extension(name: str) -> Extension:
    found = mdi(name).extension
    assert found is not None
    return found


def measured(name: str) -> Measurements:
    oui, subtype, info = split_tlv(OCTETS[name])
    assert (oui, subtype) == (IEEE_8023, MEASUREMENTS)
    return measurements(info)


@pytest.mark.parametrize(
    ("name", "source"),
    [("at-both", PowerSource.BOTH), ("at-pse-only", PowerSource.PSE), ("at-unknown", PowerSource.UNKNOWN)],
)
def test_a_device_says_which_leg_carries(name: str, source: PowerSource) -> None:
    told = mdi(name)
    assert (told.is_pse, told.source, told.pse_source) == (False, source, None)
    assert (told.type, told.priority, told.power_class) == ("type 2 PD", "critical", 4)
    assert (told.requested_w, told.allocated_w) == (25.5, 25.5)  # IEEE 802.3, equations 79-1 and 79-2
    assert told.extension is None


@pytest.mark.parametrize(("name", "source"), [("at-pse-primary", "primary"), ("at-pse-backup", "backup")])
def test_the_same_two_bits_mean_something_else_from_a_switch(name: str, source: str) -> None:
    told = mdi(name)
    assert (told.is_pse, told.source, told.pse_source) == (True, None, source)
    assert (told.type, told.priority, told.is_supported, told.is_enabled) == ("type 2 PSE", "low", True, True)


def test_the_tlv_of_2005_has_a_class_and_no_watts() -> None:
    told = mdi("short")
    assert (told.is_pse, told.power_class, told.type, told.requested_w) == (True, 3, None, None)


def test_single_signature_class_8() -> None:
    told, more = mdi("bt-single"), extension("bt-single")
    assert told.power_class == 4  # "4 or above"
    assert (more.device_class, more.is_dual, more.type) == (8, False, "type 4 PD")
    assert (told.requested_w, told.allocated_w, told.priority, told.source) == (71.3, 62.0, "high", PowerSource.BOTH)
    assert (more.pse_powering, more.pd_powered) == ("4 pairs, single-signature", "single-signature")
    assert (more.pairs, more.is_isolated_load, more.most_available_w) == ("both alternatives", False, 71.3)
    assert (more.autoclass_supported, more.autoclass_completed, more.autoclass_requested) == (True, False, True)
    assert (more.dual.requested_w, more.dual.device_class, more.power_down_s) == ((None, None), (None, None), None)


def test_dual_signature() -> None:
    more = extension("bt-dual")
    assert (more.device_class, more.is_dual, more.type) == (None, True, "type 3 dual-signature PD")
    assert more.dual.device_class == (3, 4)
    assert (more.dual.requested_w, more.dual.allocated_w) == ((12.9, 25.5), (12.8, 25.4))
    assert (more.pse_powering, more.pd_powered) == ("4 pairs, dual-signature", "4 pairs, dual-signature")
    assert (more.is_isolated_load, more.power_down_s, more.most_available_w) == (True, 3600, None)


def test_a_switch_of_type_4() -> None:
    told, more = mdi("bt-pse"), extension("bt-pse")
    assert (told.is_pse, told.pse_source, more.type, more.device_class) == (True, "backup", "type 4 PSE", 6)
    assert (more.most_available_w, more.autoclass_supported, more.autoclass_completed) == (90.0, True, True)
    assert more.pd_powered is None


def test_measurements() -> None:
    told = measured("measured")
    assert told.measured_at == "port total"
    assert told.voltage_v == Quantified(53.2, 0)
    assert told.current_a == Quantified(0.4987, 0)
    assert told.power_w == Quantified(26.53, 0)
    assert told.energy_j == Quantified(1_234_500, 0)


def test_what_is_not_valid_is_not_zero() -> None:
    told = measured("measured-in-part")
    assert (told.voltage_v, told.power_w) == (Quantified(52.1, 0.25), Quantified(26.5, 0.4))
    assert (told.current_a, told.energy_j) == (None, None)


@pytest.mark.parametrize(
    ("tenths", "watts"), [(1, 0.1), (255, 25.5), (713, 71.3), (999, 99.9), (0, None), (1000, None), (65535, None)]
)
def test_tenths_of_a_watt_from_one_to_999(tenths: int, watts: float | None) -> None:
    """IEEE 802.3, equations 79-1 and 79-2: X from 1 to 999."""
    _, _, info = split_tlv(OCTETS["at-both"])
    assert power_via_mdi(info[:4] + tenths.to_bytes(2, "big") + info[6:]).requested_w == watts


@pytest.mark.parametrize(
    ("octets", "sentence"),
    [
        ("", "these octets are no organisational TLV"),
        ("0c0c00120f0200", "these octets are no organisational TLV"),
        ("fe0d00120f020001057100ff00ff", "the TLV says 13 octets and has 12"),
    ],
)
def test_what_is_no_tlv_is_said(octets: str, sentence: str) -> None:
    with pytest.raises(NotATlvError, match=sentence):
        split_tlv(bytes.fromhex(octets))


def test_sizes_and_contradictions_are_refused() -> None:
    for size in set(range(40)) - {3, 8, 25}:
        with pytest.raises(NotATlvError, match="has 3, 8 or 25 octets here"):
            power_via_mdi(bytes(size))
    with pytest.raises(NotATlvError, match="has 22 octets here, this one has 21"):
        measurements(bytes(21))
    with pytest.raises(NotATlvError, match="its sender feeds and, in another field, that it is fed"):
        power_via_mdi(bytes.fromhex("0f01057100ff00ff"))


def test_no_octets_break_the_decoder() -> None:
    """Ten thousand TLVs of chance: either a reading within the standard's bounds, or NotATlvError."""
    chance = random.Random(20_260_302)
    refused = 0
    for _ in range(10_000):
        info = chance.randbytes(chance.choice([3, 8, 25]))
        try:
            told = power_via_mdi(info)
        except NotATlvError:
            refused += 1
            continue
        for watts in (told.requested_w, told.allocated_w):
            assert watts is None or 0 < watts <= 99.9
    assert 2000 < refused < 5000  # one bit of two in two sizes of three says the opposite of another
