"""With CI=true a skipped test is a failed test: what the checks claim to cover they must have run."""

from __future__ import annotations

import os
from collections.abc import Generator

import pytest


def _reason(report: pytest.TestReport | pytest.CollectReport) -> str:
    return str(report.longrepr[2]) if isinstance(report.longrepr, tuple) else str(report.longrepr)


def _forbid_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get("CI") == "true":
        sentence = f"skipped, which CI=true does not allow: {_reason(report)}"
        report.outcome = "failed"
        report.longrepr = sentence


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Turn the skip of a test into its failure."""
    report = yield
    _forbid_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(
    collector: pytest.Collector,
) -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Turn the skip of a whole file into its failure."""
    report = yield
    _forbid_skip(report)
    return report
