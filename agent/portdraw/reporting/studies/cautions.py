"""What every paper of a study has to say besides its figures."""

from __future__ import annotations

STUDY_CAUTION = (
    "Worked out on a drawing: no electrical inspection, and no proof that a leg will carry. Nothing here, healthy or "
    "dark, shows that a circuit, cable or port is dead: test before you touch, isolate both legs (ports up to "
    "57 V DC)."
)

CAUTIONS = (
    "No figure here, healthy, zero or dark, shows that a circuit, cable or port is dead. A unit shown dark may have "
    "live mains and a live feed. Test before you touch.",
    "A unit with two supplies stays live on one when the other is off, and so may its ports, with up to 57 V DC. "
    "Isolate both before work, and label the cabinet so.",
    "This paper is worked out from a drawing. It is no electrical inspection, and no proof that a leg which has "
    "never carried would carry: that takes a failover test.",
    "Local AC is switched off only by the person authorised for it; a breaker or hard-wired supply only by a "
    "licensed electrician. A feed is switched off in the switch's own management, never by pulling a connector "
    "under load.",
    "Copper outdoors, between buildings or to a vessel needs surge protection and bonding by local code; bundles of "
    "powered cable heat up and are to be checked against the code in force. Local codes, makers' instructions and "
    "the engineer of record come before this paper.",
    "portdraw only reads. It is not a life-safety, fire-alarm, emergency-call or access system.",
)
