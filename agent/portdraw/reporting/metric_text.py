"""Samples of the catalogue's metrics as text, in the two formats that scrapers ask for.

Written line by line here, as a large site has half a million of them: a library that makes an object of each takes
five times as long. Formats: Prometheus text format 0.0.4, and OpenMetrics 1.0.0 (the counters' names in their heads,
and the mark at the end, are all that differs for what is told here).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import islice

from prometheus_client.exposition import choose_encoder
from prometheus_client.utils import floatToGoString

from portdraw.reporting.metric_catalogue import BY_NAME, CATALOGUE, PREFIX, Metric, MetricType
from portdraw.reporting.plain_text import plain
from portdraw.reporting.wording import known

LINES_AT_ONCE = 2000  # between two such lots other threads, and with them the reading of units, get their turn
_OPEN = "application/openmetrics-text"


class Samples:
    """Samples gathered by metric name; the unknown and the second of a doubled label set are left out.

    Of each it keeps the labels as they are written, in the order of their names.
    """

    def __init__(self) -> None:
        self._by_name: dict[str, dict[str, float]] = {}

    def add(self, name: str, labels: Iterable[str], value: float | None) -> None:
        """Add one sample unless its value is unknown. KeyError where the catalogue lacks the metric."""
        metric = BY_NAME[PREFIX + name]
        figure = known(value)
        texts = tuple(labels)
        if len(texts) != len(metric.labels):
            raise ValueError(f"{metric.name} has the labels {metric.labels}, not {texts}")
        if figure is not None:
            pairs = sorted(zip(metric.labels, texts, strict=True))
            written = ",".join(label_text(label, text) for label, text in pairs)
            self._by_name.setdefault(metric.name, {}).setdefault(written, figure)

    def of(self, name: str) -> dict[str, float]:
        """Return the samples of a metric by their labels as written, to add many: each label by `label_text`."""
        return self._by_name.setdefault(BY_NAME[PREFIX + name].name, {})

    def by_metric(self) -> Iterator[tuple[Metric, Mapping[str, float]]]:
        """Yield each metric that has samples, in the catalogue's order, and forget it: many take much memory."""
        for metric in CATALOGUE:
            samples = self._by_name.pop(metric.name, None)
            if samples:
                yield metric, samples


def label_text(label: str, text: str) -> str:
    """Return a label as it is written: its text on one line, with quotes and backslashes escaped."""
    shown = plain(text)
    if '"' in shown or "\\" in shown:
        shown = shown.replace("\\", r"\\").replace('"', r"\"")
    return f'{label}="{shown}"'


def content_type(accept: str) -> str:
    """Return the format to answer in, by what the scraper accepts."""
    _, told = choose_encoder(accept)
    return told


def exposition(samples: Samples, told_as: str) -> Iterator[bytes]:
    """Yield the samples as text of a content type, lot by lot; the samples are used up."""
    is_open = told_as.startswith(_OPEN)
    figures: dict[float, str] = {}  # most values are told thousands of times
    for metric, by_labels in samples.by_metric():
        counts = metric.type is MetricType.COUNTER
        head = metric.name.removesuffix("_total") if is_open and counts else metric.name
        text = metric.help.replace("\\", r"\\").replace("\n", r"\n")
        yield f"# HELP {head} {text}\n# TYPE {head} {metric.type.value}\n".encode()
        rows = iter(by_labels.items())
        while lot := list(islice(rows, LINES_AT_ONCE)):
            lines = []
            for labels, value in lot:
                figure = figures.get(value)
                if figure is None:
                    # the library carries no types here
                    figure = figures[value] = floatToGoString(value)  # type: ignore[no-untyped-call]
                lines.append(f"{metric.name}{{{labels}}} {figure}\n" if labels else f"{metric.name} {figure}\n")
            yield "".join(lines).encode()
    if is_open:
        yield b"# EOF\n"
