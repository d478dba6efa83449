"""The key of TLS is a secret too."""

from __future__ import annotations

from pathlib import Path

import pytest

from portdraw.cli.open_secrets import warn_of_open_secrets
from portdraw.service.settings import load_settings


@pytest.mark.parametrize(("mode", "told"), [(0o600, False), (0o640, False), (0o644, True), (0o604, True)])
def test_a_tls_key_that_everybody_can_read_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], mode: int, told: bool
) -> None:
    settings = tmp_path / "settings.yaml"
    settings.write_text("format: 1\nsite: site.yaml\nlisten: {tls: {certificate: tls.crt, key: tls.key}}\n")
    (tmp_path / "tls.key").touch()
    (tmp_path / "tls.key").chmod(mode)
    warn_of_open_secrets(load_settings(settings))
    sentence = "listen tls key: every user of this machine can read tls.key; make it chmod 600\n"
    assert capsys.readouterr().err == (sentence if told else "")
