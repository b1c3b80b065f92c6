#!/usr/bin/env bash
# The library's figures and times against scipy, statsmodels, filterpy and numpy, in one run. After ci.sh first.
set -euo pipefail
cd "$(dirname "$0")"
VENV=${GLIDEPATH_VENV:-$PWD/.venv}
"$VENV/bin/pip" install --quiet --disable-pip-version-check scipy statsmodels filterpy
# older kernels of the linear algebra, where a machine asks for them, are not what is measured
env -u OPENBLAS_CORETYPE -u OPENBLAS_L2_SIZE "$VENV/bin/python" tests/compare_libraries.py
