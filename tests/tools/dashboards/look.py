"""How states and figures look: few calm colours that stay apart for the common kinds of colour blindness.

The colours are common practice (blue, ochre, rose, grey: no green against red). A state always has its word beside
its colour, and what is not known has a word of its own.
"""

from __future__ import annotations

from collections.abc import Mapping

from grafana_foundation_sdk.builders import dashboard as build
from grafana_foundation_sdk.models import dashboard as model

from portdraw.judgement.alarm import AlarmKind

BLUE = "#4477AA"  # local AC
OCHRE = "#CC9933"  # PoE feed, and what wants a look
ROSE = "#CC6677"  # what is lost, over its limit, or late
GREY = "#8A8A8A"  # what is not known
PLAIN = "text"  # the page's own colour of text: nothing to say

NOT_KNOWN = "not known"
_SHORT = {"ac": "AC", "poe": "PoE"}
Words = Mapping[str, tuple[str, str]]

AVAILABILITY: Words = {
    "proven": ("proven", PLAIN),
    "believed": ("believed", PLAIN),
    "unknown": (NOT_KNOWN, GREY),
    "lost": ("LOST", ROSE),
}
CARRYING: Words = {
    "all": ("all of it", PLAIN),
    "part": ("a part", OCHRE),
    "none": ("nothing", PLAIN),
    "unknown": (NOT_KNOWN, GREY),
}
LEGS: Words = {"ac": ("local AC", BLUE), "feed": ("PoE feed", OCHRE)}


def kind_words(kind: AlarmKind) -> str:
    """Return a kind of alarm in words."""
    return " ".join(_SHORT.get(word, word) for word in kind.value.split("-"))


KINDS: Words = {kind.value: (kind_words(kind), PLAIN) for kind in AlarmKind}
SEVERITY: Words = {"1": ("urgent", ROSE), "2": ("warning", OCHRE), "3": ("notice", PLAIN)}
CARRIER: Words = {
    "0": (NOT_KNOWN, GREY),
    "1": ("local AC", BLUE),
    "2": ("PoE feed", OCHRE),
    "3": ("both share", "#66AABB"),
}
UNSAFE: Words = {
    "0": ("none", PLAIN),
    "1": ("1 load", ROSE),
    "2": ("2 loads", ROSE),
    "3": ("3 loads", ROSE),
}
REST: Words = {"1": ("readings", PLAIN), "0": ("not only on readings: take it as the worst", GREY)}
COMPLETE: Words = {"1": ("all ports told", PLAIN), "0": ("a part is missing", GREY)}
STALE: Words = {"0": ("fresh", PLAIN), "1": ("TOO OLD to rest on", ROSE)}
OUTCOME: Words = {
    "answered": ("answered", PLAIN),
    "answered in part": ("answered in part", OCHRE),
    "no answer": ("NO ANSWER", ROSE),
    "credentials refused": ("CREDENTIALS REFUSED", ROSE),
    "answers that can't be used": ("answers that can't be used", ROSE),
    "not readable by design": ("not readable by design", GREY),
}
PORT_STATE: Words = {
    "unknown": (NOT_KNOWN, GREY),
    "fault": ("fault", ROSE),
    "other fault": ("other fault", ROSE),
}
REALITY: Words = {"0": ("real site", PLAIN), "1": ("EMULATED: proves nothing", OCHRE)}


def yes(good: str, bad: str) -> Words:
    """Return the words of a metric that is 1 when all is well."""
    return {"1": (good, PLAIN), "0": (bad, ROSE)}


def mappings(words: Words | None, missing: str) -> list[model.ValueMapping]:
    """Return words for values, and `missing` in grey for what is not there."""
    found: list[model.ValueMapping] = []
    if words:
        results = {
            value: model.ValueMappingResult(text=text, color=colour, index=index)
            for index, (value, (text, colour)) in enumerate(words.items())
        }
        found.append(model.ValueMap(options=results))
    for match in (model.SpecialValueMatch.NULL_AND_NAN, model.SpecialValueMatch.EMPTY):
        result = model.ValueMappingResult(text=missing, color=GREY, index=len(words or ()))
        found.append(model.SpecialValueMap(model.DashboardSpecialValueMapOptions(match=match, result=result)))
    return found


def steps(*above: tuple[float, str]) -> build.ThresholdsConfig:
    """Return thresholds: the page's own colour of text, and from each value on its colour."""
    found = [model.Threshold(value=None, color=PLAIN)]
    found += [model.Threshold(value=value, color=colour) for value, colour in above]
    return build.ThresholdsConfig().mode(model.ThresholdsMode.ABSOLUTE).steps(found)


def steps_value(*above: tuple[float, str]) -> dict[str, object]:
    """Return the same for one column of a table."""
    rows: list[dict[str, object]] = [{"value": None, "color": PLAIN}]
    rows += [{"value": value, "color": colour} for value, colour in above]
    return {"mode": "absolute", "steps": rows}
