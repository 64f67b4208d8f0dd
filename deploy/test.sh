#!/bin/sh
# Everything that is tested, from nothing: packages, a broker, then the checks one after another.
#   deploy/test.sh            all of it
#   deploy/test.sh tests/core some of it
set -eu
root=$(cd "$(dirname "$0")/.." && pwd)
. "$root/deploy/python.sh"
if ! command -v mosquitto >/dev/null 2>&1 && ! [ -x /usr/sbin/mosquitto ]; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        apt-get -qq update && apt-get -qq install -y --no-install-recommends mosquitto
    else
        give_up "the tests of the link need Mosquitto: sudo apt install mosquitto"
    fi
fi
make_venv "${LYEWATCH_TEST_VENV:-$root/.venv-test}" demo,page,notify,export,test
cd "$root"
PATH="$venv/bin:$PATH"
export PATH
ruff check .
mypy
lint-imports
pytest -q "$@"
