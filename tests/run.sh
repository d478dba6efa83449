#!/bin/sh
# Sets up and runs every check: format, lint, import order, strict types, tests.
# As root on Debian it also installs the real programs that some tests run against; elsewhere those tests say so.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$here"

missing=""
for pair in snmpd:snmpd snmpbulkwalk:snmp prometheus:prometheus promtool:prometheus chromium:chromium \
  rsyslogd:rsyslog prometheus-alertmanager:prometheus-alertmanager amtool:prometheus-alertmanager npm:npm \
  systemd-analyze:systemd kubectl:kubernetes-client ngspice:ngspice; do
  command -v "${pair%%:*}" >/dev/null 2>&1 || [ -x "/usr/sbin/${pair%%:*}" ] || missing="$missing ${pair##*:}"
done
# no programs, so asked for by name: a library of the browser's driver, and the TLS drivers of the log server
if command -v dpkg >/dev/null 2>&1; then
  for package in libatomic1 rsyslog-openssl rsyslog-gnutls; do
    dpkg -s "$package" >/dev/null 2>&1 || missing="$missing $package"
  done
fi
if [ -n "$missing" ] && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
  echo "== Debian packages:$missing"
  # RUNLEVEL=1 keeps the packages from starting their services
  export RUNLEVEL=1 DEBIAN_FRONTEND=noninteractive
  apt-get update -qq
  if ! apt-get install -y -qq --no-install-recommends $missing >/dev/null; then
    for package in $missing; do  # one that this release lacks must not cost the others
      apt-get install -y -qq --no-install-recommends "$package" >/dev/null || echo "== no such package here: $package"
    done
  fi
elif [ -n "$missing" ]; then
  echo "== not installed here, so some tests will be skipped:$missing"
fi

sh deploy/setup.sh dev
bin="$here/.venv/bin"
echo "== format";       "$bin/ruff" format --check .
echo "== lint";         "$bin/ruff" check .
echo "== import order"; "$bin/lint-imports"
echo "== types";        "$bin/mypy"
echo "== tests";        "$bin/python" -m pytest -n 2 --dist loadfile "$@"
