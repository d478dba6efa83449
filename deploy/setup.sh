#!/bin/sh
# Makes .venv beside this folder with portdraw in it. Usage: sh deploy/setup.sh [dev]
# Needs Python 3.11 or newer; PORTDRAW_PYTHON names one. Either the folder is whole in the end, or it is not there.
set -eu
umask 022 # a service runs it as another user
here=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
extra=${1:-}
venv=$here/.venv
case $extra in
  "") want="$here" ;;
  dev) want="$here[dev]" ;;
  *) echo "usage: sh deploy/setup.sh [dev]" >&2; exit 2 ;;
esac

python=""
for candidate in ${PORTDRAW_PYTHON:-} python3 python3.14 python3.13 python3.12 python3.11; do
  if command -v "$candidate" >/dev/null 2>&1 &&
    "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
    python=$(command -v "$candidate")
    break
  fi
done
if [ -z "$python" ]; then
  echo "portdraw needs Python 3.11 or newer; none was found (on Debian: sudo apt-get install python3 python3-venv)" >&2
  exit 2
fi

# the folder is in it too, as a .venv that came along in a copy points to where it was made; and the Python, if named
stamp=$({
  cat "$here/deploy/constraints.txt" "$here/pyproject.toml"
  printf '%s' "$here ${PORTDRAW_PYTHON:-}"
} | cksum | tr ' ' -)
if [ -x "$venv/bin/portdraw" ] && "$venv/bin/python" -c '' 2>/dev/null; then
  ready=$(cat "$venv/.ready" 2>/dev/null || true)
  [ "$ready" = "$stamp dev" ] && exit 0
  [ "$ready" = "$stamp $extra" ] && exit 0
fi

if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
  if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "Installing python3-venv (Debian keeps it apart from python3) ..."
    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq python3-venv >/dev/null
  fi
  if ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
    echo "Python's venv module is missing; install it with: sudo apt-get install python3-venv" >&2
    exit 2
  fi
fi

half_made() {
  rm -rf "$venv"
}
trap 'half_made; exit 130' INT TERM HUP
rm -rf "$venv"
echo "Setting up $venv with $python (a minute or two) ..."
if ! { "$python" -m venv "$venv" &&
  "$venv/bin/python" -m pip install --quiet --disable-pip-version-check \
    --constraint "$here/deploy/constraints.txt" --editable "$want"; }; then
  half_made
  echo "setting up failed; nothing was left behind. pip's words above say why (often: no way to the package index)" >&2
  exit 2
fi
printf '%s' "$stamp $extra" >"$venv/.ready"
