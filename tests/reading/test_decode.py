"""Raw values into units: tables of what the documents say, and what is refused."""

from __future__ import annotations

import pytest

from portdraw.observation.record import Basis, Quantity
from portdraw.reading.catalogue import MibObject, standard_catalogue
from portdraw.reading.decode import CannotBeUsedError, decode
from portdraw.reading.varbind import Kind, Value, Varbind

OBJECTS = standard_catalogue().objects


def decoded(name: str, value: Value, kind: Kind = Kind.INTEGER) -> float | int | str:
    return decode(OBJECTS[name], Varbind((1, 3), kind, value))


def refused(name: str, value: Value, kind: Kind = Kind.INTEGER) -> str:
    with pytest.raises(CannotBeUsedError) as caught:
        decoded(name, value, kind)
    return str(caught.value)


@pytest.mark.parametrize(("raw", "expected"), [(1, 0), (2, 1), (3, 2), (4, 3), (5, 4)])
def test_class_is_the_value_less_one(raw: int, expected: int) -> None:
    """RFC 3621, pethPsePortPowerClassifications: class0(1) to class4(5)."""
    assert decoded("pethPsePortPowerClassifications", raw) == expected


@pytest.mark.parametrize("raw", [0, -1, 10, 2**31 - 1])
def test_class_that_does_not_exist(raw: int) -> None:
    assert refused("pethPsePortPowerClassifications", raw) == f"class {raw - 1} does not exist"


@pytest.mark.parametrize(
    ("raw", "word"),
    [(1, "disabled"), (2, "searching"), (3, "delivering"), (4, "fault"), (5, "test"), (6, "other fault")],
)
def test_detection_status(raw: int, word: str) -> None:
    """RFC 3621, pethPsePortDetectionStatus."""
    assert decoded("pethPsePortDetectionStatus", raw) == word


@pytest.mark.parametrize("raw", [0, 7, -3])
def test_a_value_that_the_module_does_not_define(raw: int) -> None:
    assert (
        refused("pethPsePortDetectionStatus", raw) == f"the agent sent {raw}, a value that the module does not define"
    )


@pytest.mark.parametrize(
    ("octet", "word"),
    [
        (0xC0, "local AC and PoE feed"),  # example of an open LLDP agent's SNMP test, column 8 of the old root
        (0x40, "PoE feed only"),  # IEEE 802.3bt-2018, 79.3.2: 01 is PSE
        (0x00, "unknown"),
        (0x80, "local AC only"),
        (0x71, "PoE feed only"),  # only the two leading bits are the source
    ],
)
@pytest.mark.parametrize("name", ["lldpXdot3LocPowerSource", "lldpXdot3RemPowerSource"])
def test_power_source_as_two_bits_of_an_octet(name: str, octet: int, word: str) -> None:
    assert decoded(name, bytes([octet]), Kind.OCTETS) == word


@pytest.mark.parametrize("octets", [b"", b"\xc0\x00"])
def test_power_source_of_another_size(octets: bytes) -> None:
    assert refused("lldpXdot3LocPowerSource", octets, Kind.OCTETS).endswith("octets where one stands")


# IEEE Std 802.3.1-2013, the two enumerations as the module has them
LOCAL = ["pse", "pse", "pse", "both", "feed", "unknown"]
REMOTE = ["pse", "pse", "pse", "both", "local", "feed", "unknown"]
WORDS = {
    "pse": "unknown",  # a PSE says nothing of how it is fed itself
    "both": "local AC and PoE feed",
    "feed": "PoE feed only",
    "local": "local AC only",
    "unknown": "unknown",
}


@pytest.mark.parametrize("root", ["lldpXdot3", "lldpV2Xdot3"])
@pytest.mark.parametrize(("side", "meanings"), [("Loc", LOCAL), ("Rem", REMOTE)])
def test_local_and_remote_sources_number_their_values_differently(root: str, side: str, meanings: list[str]) -> None:
    name = f"{root}{side}PowerSource"
    assert [decoded(name, raw) for raw in range(len(meanings))] == [WORDS[meaning] for meaning in meanings]
    assert "does not define" in refused(name, len(meanings))


WATTS = {
    name: entry for name, entry in OBJECTS.items() if entry.quantity is Quantity.PORT_DRAW and not entry.companions
}
MILLIWATTS = [name for name, entry in WATTS.items() if entry.scale == 0.001]
IN_TEXT = [name for name, entry in WATTS.items() if entry.syntax == "decimal-text"]


def test_columns_that_are_not_milliwatts_are_these() -> None:
    """From the module texts: tenths of a watt by DISPLAY-HINT, whole watts, watts as text at seven roots."""
    others = {name: entry.scale for name, entry in WATTS.items() if name not in (*MILLIWATTS, *IN_TEXT)}
    assert others == {"mtxrPOEPower": 0.1, "ifPethPortConsumptionPower": 1.0}
    assert len(MILLIWATTS) == 29
    assert len(IN_TEXT) == 7


@pytest.mark.parametrize("name", MILLIWATTS)
def test_port_watts(name: str) -> None:
    raws = [raw for raw in (0, 1, 49, 25_500, 71_300, 99_900) if raw < (WATTS[name].most or 100_000)]
    assert [decoded(name, raw) for raw in raws] == [raw / 1000 for raw in raws]
    assert refused(name, -1) == "-0.001 W is refused: this object defines no sign"
    if WATTS[name].most is None:
        assert refused(name, 99_901) == "99.901 W is refused: no port can give more than 99.9 W"
        assert refused(name, 25_500_000) == "25500 W is refused: no port can give more than 99.9 W"


@pytest.mark.parametrize(
    ("name", "raw", "watts"), [("mtxrPOEPower", 47, 4.7), ("ifPethPortConsumptionPower", 13, 13)]
)
def test_port_watts_of_other_units(name: str, raw: int, watts: float) -> None:
    assert decoded(name, raw) == watts
    assert refused(name, 1000).endswith("no port can give more than 99.9 W")


@pytest.mark.parametrize(
    ("name", "most", "watts"),
    [
        ("hwPoePortConsumingPower", 30_000, 30),
        ("alaPethPsePortPowerActual@800", 30_000, 30),
        ("alaPethPsePortPowerActual@801", 60_000, 60),
    ],
)
def test_a_reading_at_the_end_of_the_syntax_may_be_more_and_is_refused(name: str, most: int, watts: int) -> None:
    assert decoded(name, most - 1) == (most - 1) / 1000
    for raw in (most, most + 1):
        assert refused(name, raw) == f"{watts} W is refused: this object can't tell more, so it may be more"


@pytest.mark.parametrize("name", IN_TEXT)
def test_watts_as_text(name: str) -> None:
    for text, watts in ((b"2.3", 2.3), (b" 0.0", 0), (b"15.40 W", 15.4), (b"30", 30)):
        assert decoded(name, text, Kind.OCTETS) == watts
    for text in (
        b"",
        b"-",
        b"N/A",
        b"2,3",
        b"1e3",
        b"0x10",
        b"2.3.4",
        b"nan",
        b"inf",
        b"99999999",
        "\u0663".encode(),
    ):
        assert refused(name, text, Kind.OCTETS) == "the agent sent no decimal number in its text"
    assert refused(name, b"-2.3", Kind.OCTETS) == "-2.3 W is refused: this object defines no sign"
    assert refused(name, b"2300", Kind.OCTETS) == "2300 W is refused: no port can give more than 99.9 W"
    assert refused(name, 2, Kind.INTEGER) == "the agent sent no decimal number in its text"


@pytest.mark.parametrize("name", [*MILLIWATTS, "pethPsePortDetectionStatus", "pethMainPsePower"])
@pytest.mark.parametrize("kind", [Kind.TIMETICKS, Kind.COUNTER32, Kind.COUNTER64])
def test_a_number_of_another_kind_is_refused(name: str, kind: Kind) -> None:
    assert refused(name, 3, kind) == f"the agent sent {kind} where a number stands"


def test_a_number_is_never_a_text() -> None:
    assert refused("sysName", 7) == "the agent sent INTEGER where a text stands"


def test_a_counter_has_no_sign() -> None:
    assert refused("pethPsePortPowerDeniedCounter", -1) == "-1 count is refused: this object defines no sign"


@pytest.mark.parametrize(("raw", "watts"), [(255, 25.5), (713, 71.3), (999, 99.9), (1, 0.1), (7, 0.7)])
def test_tenths_of_a_watt_are_exact_tenths(raw: int, watts: float) -> None:
    """IEEE 802.3, equations 79-1 and 79-2: X is tenths of a watt. 7 * 0.1 must be 0.7, not 0.7000000000000001."""
    entry = MibObject(
        oid="1.3.111.2.802.3.1.5.1.2.2.1.11",
        index="lldp-port",
        quantity=Quantity.PORT_GRANTED,
        syntax="integer",
        unit="W",
        scale=0.1,
        basis=Basis.GRANTED,
        source="IEEE 802.3.1-2013",
    )
    assert decode(entry, Varbind((1, 3), Kind.INTEGER, raw)) == watts


def test_totals_are_whole_watts_without_a_ceiling_of_ports() -> None:
    """RFC 3621: UNITS Watts for both."""
    assert decoded("pethMainPsePower", 1440, Kind.GAUGE32) == 1440
    assert decoded("pethMainPseConsumptionPower", 0, Kind.GAUGE32) == 0
    assert refused("pethMainPseConsumptionPower", -1) == "-1 W is refused: this object defines no sign"


def test_uptime_is_in_seconds() -> None:
    """RFC 3418, sysUpTime: hundredths of a second."""
    assert decoded("sysUpTime", 248_971_100, Kind.TIMETICKS) == 2_489_711.0


def test_text_is_printable_and_bounded() -> None:
    assert decoded("lldpRemSysName", b"mast 3\r\n\x07cam", Kind.OCTETS) == "mast 3???cam"
    assert len(str(decoded("sysDescr", b"x" * 5000, Kind.OCTETS))) == 200


def test_object_identifier() -> None:
    assert decoded("sysObjectID", (1, 3, 6, 1, 4, 1, 8072), Kind.OID) == "1.3.6.1.4.1.8072"
    assert refused("sysObjectID", b"1.3.6", Kind.OCTETS) == (
        "the agent sent OCTET STRING where an object identifier stands"
    )


@pytest.mark.parametrize("name", OBJECTS)
@pytest.mark.parametrize("kind", [Kind.NULL, Kind.NO_SUCH_OBJECT, Kind.NO_SUCH_INSTANCE, Kind.END_OF_MIB_VIEW])
def test_an_absent_value_is_never_a_value(name: str, kind: Kind) -> None:
    assert refused(name, None, kind) == f"the agent sent {kind} in place of a value"


NUMBERS = [name for name, entry in OBJECTS.items() if entry.syntax in ("integer", "gauge", "counter", "timeticks")]


@pytest.mark.parametrize("name", NUMBERS)
def test_a_text_is_never_a_number(name: str) -> None:
    assert refused(name, b"25", Kind.OCTETS) == "the agent sent OCTET STRING where a number stands"
