#!/bin/sh
# Installs what is missing, builds, and passes all tests.
set -eu
cd "$(dirname "$0")/.."
. scripts/need.sh
need_tests
jobs=$(nproc 2>/dev/null || echo 1)
make -j"$jobs" all build/unit
make -j"$jobs" check
