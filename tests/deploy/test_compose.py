"""The compose file and what stands beside it: closed by default, and each part speaks to the others as they are set.

No container engine runs here. What Prometheus and Alertmanager say of their own files is asked of their own tools.
"""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Any

import yaml
from tests.requirements import need_program

from portdraw.service.settings import load_settings

ROOT = Path(__file__).resolve().parents[2]
DEPLOY = ROOT / "deploy"
COMPOSE: dict[str, Any] = yaml.safe_load((DEPLOY / "compose.yaml").read_text(encoding="utf-8"))
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
PROMETHEUS: dict[str, Any] = yaml.safe_load((DEPLOY / "compose" / "prometheus.yml").read_text(encoding="utf-8"))
YOURS = {"./compose/site.yaml", *(secret["file"] for secret in COMPOSE["secrets"].values())}


def test_every_service_is_closed() -> None:
    for name, service in SERVICES.items():
        assert service["read_only"] is True, name
        assert service["cap_drop"] == ["ALL"], name
        assert service["security_opt"] == ["no-new-privileges:true"], name
        assert "privileged" not in service
        tag = service["image"].rpartition(":")[2]
        assert tag[-1].isdigit(), f"{name} is not pinned"
        for port in service["ports"]:
            assert port.startswith("127.0.0.1:"), name
    assert COMPOSE["networks"]["inside"] == {"internal": True}


def test_everything_that_is_named_is_there() -> None:
    for service in SERVICES.values():
        for mount in service["volumes"]:
            source = mount.split(":")[0]
            if source.startswith("."):
                assert source in YOURS or (DEPLOY / source).exists(), source
                assert mount.endswith(":ro")
            else:
                assert source in COMPOSE["volumes"]
        assert set(service["networks"]) <= set(COMPOSE["networks"])
        assert set(service.get("secrets", ())) <= set(COMPOSE["secrets"])
        assert set(service.get("depends_on", ())) <= set(SERVICES)
    build = SERVICES["agent"]["build"]
    assert (DEPLOY / build["context"]).resolve() == ROOT
    assert (ROOT / build["dockerfile"]).is_file()
    ignored = (DEPLOY / "compose" / ".gitignore").read_text(encoding="utf-8").split()
    assert ignored == ["secrets/", "site.yaml"]


def test_the_agents_settings_fit_its_container() -> None:
    loaded = load_settings(DEPLOY / "compose" / "settings.yaml")
    agent = SERVICES["agent"]
    mounts = {mount.split(":")[1]: mount.split(":")[0] for mount in agent["volumes"]}
    assert mounts[str(loaded.history_folder)] == "history"
    assert mounts[f"/etc/portdraw/{loaded.site_path.name}"] == "./compose/site.yaml"
    listen = loaded.settings.listen
    assert agent["ports"] == [f"127.0.0.1:{listen.port}:{listen.port}"]
    secrets = [token.secret.file for token in listen.tokens.values()]
    for access in loaded.settings.access.values():
        secrets += [one.file for one in (access.auth_secret, access.privacy_secret) if one is not None]
    assert sorted(str(secret) for secret in secrets) == sorted(f"/run/secrets/{name}" for name in agent["secrets"])
    scrape = PROMETHEUS["scrape_configs"][0]
    assert scrape["static_configs"][0]["targets"] == [f"agent:{listen.port}"]
    assert scrape["authorization"]["credentials_file"] == "/run/secrets/reader"
    assert "reader" in SERVICES["prometheus"]["secrets"]
    assert SERVICES["prometheus"]["group_add"] == ["10001"]


def test_the_commented_receiver_of_the_settings_loads(tmp_path: Path) -> None:
    text = (DEPLOY / "compose" / "settings.yaml").read_text(encoding="utf-8")
    path = tmp_path / "settings.yaml"
    path.write_text(text.replace("#receivers:", "receivers:").replace("#  alertmanager", "  alertmanager"), "utf-8")
    receiver = load_settings(path).settings.receivers["alertmanager"]
    targets = PROMETHEUS["alerting"]["alertmanagers"][0]["static_configs"][0]["targets"]
    assert receiver.alertmanager == f"http://{targets[0]}"
    assert targets[0].split(":")[0] in SERVICES


def test_prometheus_takes_its_file_with_all_rules(tmp_path: Path) -> None:
    """With the paths of its container moved to where the files lie here."""
    rules = next(m for m in SERVICES["prometheus"]["volumes"] if m.startswith("../dashboards/rules"))
    assert rules == "../dashboards/rules:/etc/prometheus/rules:ro"
    (tmp_path / "reader").write_text("token", encoding="utf-8")
    text = (DEPLOY / "compose" / "prometheus.yml").read_text(encoding="utf-8")
    text = text.replace("/etc/prometheus/rules", str(ROOT / "dashboards" / "rules"))
    path = tmp_path / "prometheus.yml"
    path.write_text(text.replace("/run/secrets", str(tmp_path)), encoding="utf-8")
    command = [need_program("promtool"), "check", "config", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    listed = sorted(file.name for file in (ROOT / "dashboards" / "rules").glob("*.yaml") if "test" not in file.name)
    assert sorted(Path(name).name for name in PROMETHEUS["rule_files"]) == listed


def test_alertmanager_takes_its_file() -> None:
    command = [need_program("amtool"), "check-config", str(DEPLOY / "compose" / "alertmanager.yml")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "SUCCESS" in done.stdout
