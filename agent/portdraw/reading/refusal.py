"""What an agent's refusal means, in words: the names of RFC 3414's and RFC 3412's errors told apart for people."""

from __future__ import annotations

from portdraw.reading.engine import Failure, ReadError, Target

# by the names that the SNMP library gives to its error indications
_FAILURES = {
    "UnknownUserName": Failure.UNKNOWN_USER,
    "UnknownSecurityName": Failure.UNKNOWN_USER,
    "WrongDigest": Failure.WRONG_DIGEST,
    "AuthenticationFailure": Failure.WRONG_DIGEST,
    "UnsupportedSecurityLevel": Failure.WRONG_LEVEL,
    "DecryptionError": Failure.WRONG_PRIVACY,
    "NotInTimeWindow": Failure.TIME_WINDOW,
    "UnknownEngineID": Failure.TIME_WINDOW,
}
_WORDS = {
    Failure.UNKNOWN_USER: "does not know this user name",
    Failure.WRONG_DIGEST: "refuses the authentication secret or its algorithm",
    Failure.WRONG_LEVEL: "does not offer this security level to this user",
    Failure.WRONG_PRIVACY: "can't decrypt: the privacy secret or its algorithm is wrong",
    Failure.TIME_WINDOW: "is outside its time window even after resynchronising",
}


def refusal(target: Target, indication: str) -> ReadError:
    """Return the error for an indication of the library, by its name; one that is not known is a garbled answer."""
    failure = _FAILURES.get(indication, Failure.GARBLED)
    words = _WORDS.get(failure) or f"sent an answer that can't be used ({indication})"
    return ReadError(failure, f"{target} {words}")
