#!/bin/sh
# A whole rig on this machine, simulated: no root, no hardware, nothing left behind but a folder of packages.
#   deploy/try.sh                        until Ctrl-C
#   deploy/try.sh --fault coolant-lost   break something, and see power go off
set -eu
root=$(cd "$(dirname "$0")/.." && pwd)
. "$root/deploy/python.sh"
make_venv "${LYEWATCH_VENV:-${XDG_CACHE_HOME:-${HOME:-/tmp}/.cache}/lyewatch/try}" demo,page
exec "$venv/bin/lyewatch" demo "$@"
