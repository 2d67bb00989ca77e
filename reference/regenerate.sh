#!/usr/bin/env bash
# Regenerates the reference captures, fits and responses in testdata/{ngspice,scipy,chain,lines,responses,budget,correct,characterise}, and what
# other readers make of the texts in testdata/register.
# With --check: makes them in a temporary folder and compares them with the committed ones (tolerances in compare.py).
set -euo pipefail
cd "$(dirname "$0")/.."

python=reference/.venv/bin/python
if [ ! -x "$python" ] || ! command -v ngspice >/dev/null; then
    echo "reference/regenerate.sh: ngspice or reference/.venv is missing; run scripts/setup first" >&2
    exit 1
fi

folders=(ngspice scipy chain lines responses budget correct characterise)

make_all() {
    "$python" reference/ngspice_cases.py "$1/ngspice"
    "$python" reference/measured_cases.py "$1/ngspice"
    "$python" reference/scipy_fits.py "$1/ngspice" "$1/scipy"
    "$python" reference/chain_truth.py "$1/chain"
    "$python" reference/lines.py "$1/lines"
    "$python" reference/responses.py "$1/responses"
    "$python" reference/budget.py "$1/budget"
    "$python" reference/correct_shelf.py "$1/correct"
    "$python" reference/correct_chain.py "$1/correct"
    "$python" reference/characterise_cases.py "$1/characterise"
}

case "${1:-}" in
"")
    for name in "${folders[@]}"; do
        rm -f "testdata/$name"/*.csv "testdata/$name"/*.csv.gz
    done
    make_all testdata
    "$python" reference/register_text.py
    ;;
--check)
    fresh=$(mktemp -d)
    trap 'rm -rf "$fresh"' EXIT
    make_all "$fresh"
    status=0
    for name in "${folders[@]}"; do
        "$python" reference/compare.py "testdata/$name" "$fresh/$name" || status=1
    done
    "$python" reference/register_text.py "$fresh/register"
    diff testdata/register/values.csv "$fresh/register/values.csv" || status=1
    exit "$status"
    ;;
*)
    echo "usage: reference/regenerate.sh [--check]" >&2
    exit 2
    ;;
esac
