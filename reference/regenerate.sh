#!/usr/bin/env bash
# Regenerates the reference captures and fits in testdata/ngspice and testdata/scipy.
# With --check: makes them in a temporary folder and compares them with the committed ones (tolerances in compare.py).
set -euo pipefail
cd "$(dirname "$0")/.."

python=reference/.venv/bin/python
if [ ! -x "$python" ] || ! command -v ngspice >/dev/null; then
    echo "reference/regenerate.sh: ngspice or reference/.venv is missing; run scripts/setup first" >&2
    exit 1
fi

case "${1:-}" in
"")
    rm -f testdata/ngspice/*.csv testdata/ngspice/*.csv.gz testdata/scipy/*.csv testdata/scipy/*.csv.gz
    "$python" reference/ngspice_cases.py testdata/ngspice
    "$python" reference/scipy_fits.py testdata/ngspice testdata/scipy
    ;;
--check)
    fresh=$(mktemp -d)
    trap 'rm -rf "$fresh"' EXIT
    "$python" reference/ngspice_cases.py "$fresh/ngspice"
    "$python" reference/scipy_fits.py "$fresh/ngspice" "$fresh/scipy"
    status=0
    for name in ngspice scipy; do
        "$python" reference/compare.py "testdata/$name" "$fresh/$name" || status=1
    done
    exit "$status"
    ;;
*)
    echo "usage: reference/regenerate.sh [--check]" >&2
    exit 2
    ;;
esac
