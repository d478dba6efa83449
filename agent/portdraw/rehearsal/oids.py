"""The object identifiers that the emulated switches answer, written out here once more and on purpose.

The reading side has its own list in `mibs/`; were they shared, a wrong number would cancel out.
The source stands beside each row.
"""

from __future__ import annotations

Oid = tuple[int, ...]


def oid(dotted: str) -> Oid:
    """Return an object identifier as numbers."""
    return tuple(int(arc) for arc in dotted.split("."))


# RFC 3418, SNMPv2-MIB, system group
SYS_DESCR = oid("1.3.6.1.2.1.1.1.0")
SYS_OBJECT_ID = oid("1.3.6.1.2.1.1.2.0")
SYS_UP_TIME = oid("1.3.6.1.2.1.1.3.0")  # 1/100 s
SYS_NAME = oid("1.3.6.1.2.1.1.5.0")
SYS_LOCATION = oid("1.3.6.1.2.1.1.6.0")

# RFC 3411, SNMP-FRAMEWORK-MIB, snmpEngine group
ENGINE_BOOTS = oid("1.3.6.1.6.3.10.2.1.2.0")
ENGINE_TIME = oid("1.3.6.1.6.3.10.2.1.3.0")  # s

# RFC 2863, IF-MIB; index: ifIndex
IF_INDEX = oid("1.3.6.1.2.1.2.2.1.1")
IF_DESCR = oid("1.3.6.1.2.1.2.2.1.2")
IF_TYPE = oid("1.3.6.1.2.1.2.2.1.3")  # ethernetCsmacd 6
IF_OPER_STATUS = oid("1.3.6.1.2.1.2.2.1.8")  # up 1, down 2
IF_NAME = oid("1.3.6.1.2.1.31.1.1.1.1")
IF_ALIAS = oid("1.3.6.1.2.1.31.1.1.1.18")

# RFC 3621, POWER-ETHERNET-MIB, pethPsePortTable; index: group.port
PORT_ADMIN_ENABLE = oid("1.3.6.1.2.1.105.1.1.1.3")  # true 1, false 2
PORT_DETECTION = oid("1.3.6.1.2.1.105.1.1.1.6")  # disabled 1, searching 2, delivering 3, other fault 6
PORT_PRIORITY = oid("1.3.6.1.2.1.105.1.1.1.7")  # critical 1, high 2, low 3
PORT_MPS_ABSENT = oid("1.3.6.1.2.1.105.1.1.1.8")
PORT_CLASS = oid("1.3.6.1.2.1.105.1.1.1.10")  # class + 1; no value above class 4
PORT_INVALID_SIGNATURE = oid("1.3.6.1.2.1.105.1.1.1.11")
PORT_DENIED = oid("1.3.6.1.2.1.105.1.1.1.12")
PORT_OVERLOAD = oid("1.3.6.1.2.1.105.1.1.1.13")
PORT_SHORT = oid("1.3.6.1.2.1.105.1.1.1.14")

# RFC 3621, pethMainPseTable; index: group
MAIN_POWER = oid("1.3.6.1.2.1.105.1.3.1.1.2")  # W
MAIN_OPER_STATUS = oid("1.3.6.1.2.1.105.1.3.1.1.3")  # on 1
MAIN_CONSUMPTION = oid("1.3.6.1.2.1.105.1.3.1.1.4")  # W
MAIN_THRESHOLD = oid("1.3.6.1.2.1.105.1.3.1.1.5")  # %

# IEEE Std 802.3.1-2013 clause 8, IEEE8023-POWER-ETHERNET-MIB, pethPsePortActualPower; index: group.port; mW
# (unit: attribute aPSEActualPower, IEEE 802.3-2022, 30.9.1.1.23)
IEEE_ACTUAL_POWER = oid("1.3.111.2.802.3.1.8.1.1.1.15")

# Enterprise 9, CISCO-POWER-ETHERNET-EXT-MIB, cpeExtPsePortPwrConsumption; index: group.port; Unsigned32 mW
ENTERPRISE_9_CONSUMPTION = oid("1.3.6.1.4.1.9.9.402.1.2.1.9")
# Enterprise 1991, FOUNDRY-POE-MIB, snAgentPoePortConsumed; index: ifIndex; Integer32 mW
ENTERPRISE_1991_CONSUMED = oid("1.3.6.1.4.1.1991.1.1.2.14.2.2.1.6")

# sysObjectID below each enterprise: arcs that no product carries, made for this rehearsal.
OBJECT_ID_PLAIN = oid("1.3.6.1.4.1.32473.1")  # RFC 5612: the enterprise number for documentation
OBJECT_ID_9 = oid("1.3.6.1.4.1.9.0.1")
OBJECT_ID_1991 = oid("1.3.6.1.4.1.1991.0.1")

# IEEE Std 802.1AB-2005, LLDP-MIB; remote index: time mark.local port number.remote index
LLDP_LOC_SYS_NAME = oid("1.0.8802.1.1.2.1.3.3.0")
LLDP_REM_SYS_NAME = oid("1.0.8802.1.1.2.1.4.1.1.9")
LLDP_LOC_CHASSIS = oid("1.0.8802.1.1.2.1.3.2.0")
LLDP_REM_CHASSIS = oid("1.0.8802.1.1.2.1.4.1.1.5")
LLDP_REM_SYS_DESC = oid("1.0.8802.1.1.2.1.4.1.1.10")
LLDP_REM_CAPABILITIES = oid("1.0.8802.1.1.2.1.4.1.1.12")  # octets of bits, bit 0 highest
LLDP_REM_ADDRESS_IF = oid("1.0.8802.1.1.2.1.4.2.1.3")  # index further: kind of address, length, octets
ADDRESS_OF_IF_INDEX = 2  # lldpManAddrIfSubtype
# LldpSystemCapabilitiesMap: bridge 2, wlanAccessPoint 3, telephone 5, stationOnly 7
CAPABILITIES: dict[str, int] = {"switch": 0x20, "ap": 0x30, "phone": 0x24, "station": 0x01}

# IEEE Std 802.1AB-2005, LLDP-EXT-DOT3-MIB. The module ends at column 6; column 8 is what agents add for the power
# source of IEEE 802.3at: one octet, the two highest bits (seen in the unit test of an open-source LLDP agent).
OLD_LOC_PORT_CLASS = oid("1.0.8802.1.1.2.1.5.4623.1.2.2.1.1")  # PSE 1, PD 2
OLD_LOC_POWER_SOURCE = oid("1.0.8802.1.1.2.1.5.4623.1.2.2.1.8")
OLD_REM_PORT_CLASS = oid("1.0.8802.1.1.2.1.5.4623.1.3.2.1.1")
OLD_REM_POWER_SOURCE = oid("1.0.8802.1.1.2.1.5.4623.1.3.2.1.8")
# Octet of column 8, PD role: bits 7-6 (IEEE Std 802.3at-2009, 79.3.2): unknown 0, PSE 1, local 2 (reserved), both 3
OLD_SOURCE_OCTET: dict[str, int] = {"unknown": 0x00, "pse": 0x40, "local": 0x80, "both": 0xC0}

# IEEE Std 802.3.1-2013, IEEE8023-DOT3-LLDP-EXT-V2-MIB; local index: ifIndex,
# remote index: time mark.local ifIndex.row of the destination address.remote index
NEW_LOC_PORT_CLASS = oid("1.3.111.2.802.3.1.5.1.2.2.1.1")
NEW_LOC_POWER_SOURCE = oid("1.3.111.2.802.3.1.5.1.2.2.1.8")
NEW_REM_PORT_CLASS = oid("1.3.111.2.802.3.1.5.1.3.2.1.1")
NEW_REM_POWER_SOURCE = oid("1.3.111.2.802.3.1.5.1.3.2.1.8")
# The two tables number the same facts differently. lldpV2Xdot3LocPowerSource has no value for "local only".
NEW_LOC_SOURCE: dict[str, int] = {"both": 3, "pse": 4, "unknown": 5, "local": 5}
# lldpV2Xdot3RemPowerSource
NEW_REM_SOURCE: dict[str, int] = {"both": 3, "local": 4, "pse": 5, "unknown": 6}
