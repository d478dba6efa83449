"""A whole emulated site that answers real SNMP.

Own physics, own object identifiers; imports plan and the tables of electrical only.
"""
