#!/bin/sh
# Sets up and runs portdraw on an emulated site: nothing outside this machine is read or told.
# Everything after the script's name goes to `portdraw demo`, for example: sh deploy/demo.sh --for 60 --no-browser
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
sh "$here/deploy/setup.sh"
exec "$here/.venv/bin/portdraw" demo "$@"
