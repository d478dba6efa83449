"""`portdraw export`: the schemas, as published."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.conftest import Call
from tests.tools.schemas import SETTINGS_SCHEMA, SITE_SCHEMA


@pytest.mark.parametrize(("of", "published"), [("site", SITE_SCHEMA), ("settings", SETTINGS_SCHEMA)])
def test_a_schema_is_printed_and_written_as_published(call: Call, tmp_path: Path, of: str, published: Path) -> None:
    printed = call("export", "schema", of)
    assert (printed.returncode, printed.stdout, printed.stderr) == (0, published.read_text(encoding="utf-8"), "")
    out = tmp_path / "schema.json"
    written = call("export", "schema", of, "--out", str(out))
    assert (written.returncode, written.stdout) == (0, f"wrote {out}\n")
    assert out.read_bytes() == published.read_bytes()


def test_a_file_that_can_not_be_written_is_code_3(call: Call, tmp_path: Path) -> None:
    done = call("export", "schema", "site", "--out", str(tmp_path / "none" / "schema.json"))
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr.endswith("can't be written: No such file or directory\n")


def test_nothing_else_can_be_exported(call: Call) -> None:
    assert call("export", "schema", "history").returncode == 2
    assert call("export", "everything", "site").returncode == 2
