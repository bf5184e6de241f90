#!/bin/sh
# Installs what is missing and shows the demo: sh monitor/start.sh [OPTION OF hang-monitor demo]...
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
# shellcheck source=.ci/environment.sh
. "$root/.ci/environment.sh"

prepare ''
exec "$root/.venv/bin/hang-monitor" demo "$@"
