#!/bin/sh
# Installs what is missing and runs the tests: sh tests/run.sh [OPTION OF pytest]...
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
# shellcheck source=.ci/environment.sh
. "$root/.ci/environment.sh"

prepare test chromium
cd -- "$root"
exec .venv/bin/python -m pytest "$@"
