"""The Kubernetes files, put together by kubectl itself, and held against the settings and paths of the agent.

Without a cluster nothing checks them against its schema; the shape is asserted field by field. What a restricted pod
must say is from the Pod Security Standards, profile "restricted" (https://kubernetes.io/docs/concepts/security/).
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml
from starlette.routing import Route
from tests.reporting.samples import SampleSource
from tests.requirements import need_program

from portdraw.plan.loader import load_site
from portdraw.reporting.http.app import build_app
from portdraw.reporting.metrics import site_registry
from portdraw.service.settings import load_settings

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "deploy" / "kubernetes"
SITE = ROOT / "agent" / "portdraw" / "rehearsal" / "site.yaml"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """Return what kubectl would send, by kind, with a site file beside the kustomization as the README says."""
    folder = tmp_path_factory.mktemp("kubernetes") / "kubernetes"
    shutil.copytree(FOLDER, folder)
    shutil.copy(SITE, folder / "site.yaml")
    command = [need_program("kubectl"), "kustomize", str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    documents = list(yaml.safe_load_all(done.stdout))
    found = {document["kind"]: document for document in documents}
    assert len(found) == len(documents)
    return found


def pod(built: Mapping[str, dict[str, Any]]) -> dict[str, Any]:
    spec: dict[str, Any] = built["StatefulSet"]["spec"]["template"]["spec"]
    return spec


def test_all_is_in_one_namespace_that_takes_restricted_pods_only(built: dict[str, dict[str, Any]]) -> None:
    assert set(built) == {"Namespace", "ConfigMap", "StatefulSet", "Service", "NetworkPolicy"}
    assert built["Namespace"]["metadata"]["labels"]["pod-security.kubernetes.io/enforce"] == "restricted"
    for kind, document in built.items():
        if kind != "Namespace":
            assert document["metadata"]["namespace"] == built["Namespace"]["metadata"]["name"]


def test_one_agent_and_never_two(built: dict[str, dict[str, Any]]) -> None:
    spec = built["StatefulSet"]["spec"]
    assert spec["replicas"] == 1
    labels = spec["template"]["metadata"]["labels"]
    assert spec["selector"]["matchLabels"] == labels
    assert built["Service"]["spec"]["selector"] == labels
    assert built["NetworkPolicy"]["spec"]["podSelector"]["matchLabels"] == labels
    assert spec["serviceName"] == built["Service"]["metadata"]["name"]


def test_the_pod_is_restricted(built: dict[str, dict[str, Any]]) -> None:
    spec = pod(built)
    assert spec["automountServiceAccountToken"] is False
    context = spec["securityContext"]
    assert context["runAsNonRoot"] is True
    assert context["runAsUser"] == context["runAsGroup"] == context["fsGroup"] == 10001
    assert context["seccompProfile"] == {"type": "RuntimeDefault"}
    (container,) = spec["containers"]
    assert container["securityContext"] == {
        "allowPrivilegeEscalation": False,
        "readOnlyRootFilesystem": True,
        "capabilities": {"drop": ["ALL"]},
    }
    assert container["resources"]["limits"]["memory"]
    assert container["image"] == "portdraw:0.1.0"
    assert not {"hostNetwork", "hostPID", "hostIPC"} & set(spec)


def test_probes_ask_what_is_served_where_it_is_served(built: dict[str, dict[str, Any]]) -> None:
    source = SampleSource(None, None)  # type: ignore[arg-type]
    served = {route.path for route in build_app(source, site_registry(source)).routes if isinstance(route, Route)}
    (container,) = pod(built)["containers"]
    (port,) = container["ports"]
    paths = {}
    for probe in ("startupProbe", "livenessProbe", "readinessProbe"):
        asked = container[probe]["httpGet"]
        assert asked["port"] == port["name"]
        paths[probe] = asked["path"]
    assert set(paths.values()) <= served
    # not ready is no reason to be killed
    assert paths == {"startupProbe": "/health", "livenessProbe": "/health", "readinessProbe": "/ready"}
    listen = load_settings(FOLDER / "settings.yaml").settings.listen
    assert port["containerPort"] == listen.port == built["Service"]["spec"]["ports"][0]["port"]
    assert built["Service"]["spec"]["ports"][0]["targetPort"] == port["name"]
    assert built["NetworkPolicy"]["spec"]["ingress"][0]["ports"] == [{"protocol": "TCP", "port": port["name"]}]


def test_settings_secrets_and_history_are_where_the_settings_say(
    built: dict[str, dict[str, Any]], tmp_path: Path
) -> None:
    spec = pod(built)
    (container,) = spec["containers"]
    places = {mount["name"]: mount["mountPath"] for mount in container["volumeMounts"]}
    volumes = {volume["name"]: volume for volume in spec["volumes"]}
    claims = {claim["metadata"]["name"] for claim in built["StatefulSet"]["spec"]["volumeClaimTemplates"]}
    assert set(places) == set(volumes) | claims
    config = built["ConfigMap"]
    assert volumes["settings"]["configMap"]["name"] == config["metadata"]["name"]
    for name, text in config["data"].items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    loaded = load_settings(tmp_path / "settings.yaml")
    assert load_site(loaded.site_path).site.name
    assert places["settings"] == "/etc/portdraw"  # where the image's command looks
    assert places["history"] == str(loaded.history_folder)
    assert "history" in claims
    assert places["tmp"] == "/tmp"
    settings = loaded.settings
    secrets = [token.secret.file for token in settings.listen.tokens.values()]
    for access in settings.access.values():
        secrets += [one.file for one in (access.auth_secret, access.privacy_secret) if one is not None]
    readme = (FOLDER.parent / "README.md").read_text(encoding="utf-8")
    for secret in secrets:
        assert Path(str(secret)).parent == Path(places["secrets"])
        assert re.search(rf">{re.escape(Path(str(secret)).name)}\b", readme)  # made by a step of it
    assert "create secret generic portdraw --from-file=deploy/kubernetes/secrets" in readme
    assert (FOLDER / ".gitignore").read_text(encoding="utf-8").split() == ["secrets/", "site.yaml"]
    assert f"create secret generic {volumes['secrets']['secret']['secretName']} " in readme
    assert volumes["secrets"]["secret"]["defaultMode"] & 0o007 == 0


def test_it_reaches_switches_by_snmp_and_little_else(built: dict[str, dict[str, Any]]) -> None:
    policy = built["NetworkPolicy"]["spec"]
    assert set(policy["policyTypes"]) == {"Ingress", "Egress"}
    snmp, names, told = policy["egress"]
    assert snmp["ports"] == [{"protocol": "UDP", "port": 161}]
    assert "ipBlock" in snmp["to"][0]
    assert {port["port"] for port in names["ports"]} == {53}
    readme = (FOLDER.parent / "README.md").read_text(encoding="utf-8")
    for rule in (policy["ingress"][0]["from"][0], told["to"][0]):
        for label, value in rule["namespaceSelector"]["matchLabels"].items():
            assert f"{label}={value}" in readme


def test_no_secret_stands_in_the_files() -> None:
    for path in FOLDER.glob("*.yaml"):
        for document in yaml.safe_load_all(path.read_text(encoding="utf-8")):
            assert document.get("kind") != "Secret", path.name
