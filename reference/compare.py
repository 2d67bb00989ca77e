"""Compares regenerated reference files with the committed ones, number by number.

    compare.py COMMITTED_FOLDER REGENERATED_FOLDER

Captures: 2e-5 of the square wave's step. In quantised captures up to 0.2 percent of the samples may be one code off,
because another processor may round a sample near the middle of two codes the other way.
Tables: e and gains 2e-5 absolute, other numbers 2e-5 relative; standard uncertainties and residuals (which in the
noise-free cases are nothing but the rounding of the files) 20 percent and 1e-6.
Chains, lines and responses (folders without `truth.csv`): see EXACT. Columns of ngspice may come from another version: see
NGSPICE; they are compared where both files have a value, for where ngspice is stored depends on how right it is.
"""

import csv
import gzip
import pathlib
import sys

import numpy as np

SHARE_OF_STEP = 2e-5
TABLE = 2e-5
QUANTISED_SHARE = 2e-3
# Share of the largest magnitude in the column pair or column that a number made by NumPy, SciPy or scikit-rf may move. Per
# row for tables over frequency, whose columns span decades; over the file for tables over time.
EXACT = 1e-9
EXACT_TIME = 1e-7
# The same for ngspice's own numbers: twice of what chain_truth.py allows them against the exact ones.
NGSPICE_AC = 2e-4
NGSPICE_TIME = 4e-3
LOOSE_COLUMNS = ("u_e", "u_tau_s", "residual_rms_v")


def read_capture(path):
    text = gzip.decompress(path.read_bytes()).decode() if path.suffix == ".gz" else path.read_text()
    header, *lines = text.splitlines()
    return header, np.array([[float(x) for x in line.split(",")] for line in lines])


def compare_capture(path, other, row):
    """Complaints about one capture."""
    header, old = read_capture(path)
    new_header, new = read_capture(other)
    if header != new_header or old.shape != new.shape:
        return [f"{path}: committed {header!r} {old.shape}, regenerated {new_header!r} {new.shape}"]
    interval = old[1, 0] - old[0, 0]
    step = float(row["high_v"]) - float(row["low_v"])
    complaints = []
    late = np.abs(new[:, 0] - old[:, 0]) > 1e-6 * interval
    if late.any():
        at = int(np.argmax(late))
        complaints.append(f"{path}:{at + 2}: time {old[at, 0]}, regenerated {new[at, 0]}")
    apart = np.abs(new[:, 1:] - old[:, 1:]).max(axis=1)
    worst = int(np.argmax(apart))
    quantum = float(row.get("quantum_v") or 0)
    moved = apart > SHARE_OF_STEP * step
    forgiven = quantum > 0 and moved.mean() <= QUANTISED_SHARE and apart[worst] <= 1.01 * quantum
    if moved.any() and not forgiven:
        complaints.append(
            f"{path}:{worst + 2}: {moved.sum()} of {len(old)} samples moved, this one from {old[worst, 1:]} to "
            f"{new[worst, 1:]}: {apart[worst] / step:.1e} of the step, {SHARE_OF_STEP:.0e} allowed"
        )
    return complaints


def allowed(column, old):
    if column in LOOSE_COLUMNS:
        return 0.2 * abs(old) + 1e-6
    if column in ("e", "e_ac", "relative_gain", "phase_rad"):
        return TABLE
    return TABLE * abs(old)


def compare_table(path, other):
    """Complaints about one table."""
    with open(path, newline="") as a, open(other, newline="") as b:
        old, new = list(csv.reader(a)), list(csv.reader(b))
    if [len(r) for r in old] != [len(r) for r in new] or old[0] != new[0]:
        return [f"{path}: the regenerated table has other rows or columns"]
    complaints = []
    for line, (was, now) in enumerate(zip(old[1:], new[1:]), start=2):
        for column, a, b in zip(old[0], was, now):
            if a == b:
                continue
            try:
                same = abs(float(b) - float(a)) <= allowed(column, float(a))
            except ValueError:
                same = False
            if not same:
                complaints.append(f"{path}:{line}: {column} was {a}, regenerated {b}")
    return complaints


def number(text):
    """A cell as a number; NaN where it is empty, None where it is a word."""
    try:
        return float(text) if text else np.nan
    except ValueError:
        return None


def cells(path):
    text = gzip.decompress(path.read_bytes()).decode() if path.suffix == ".gz" else path.read_text()
    return list(csv.reader(text.splitlines()))


def compare_exact(path, other):
    """Complaints about one table of a folder of exact responses."""
    old, new = cells(path), cells(other)
    if [len(r) for r in old] != [len(r) for r in new] or old[0] != new[0]:
        return [f"{path}: the regenerated table has other rows or columns"]
    over_time = "ngspice_v" in old[0]
    swing = max(abs(number(row[2])) for row in old[1:]) if over_time else 0.0
    complaints = []
    for line, (was, now) in enumerate(zip(old[1:], new[1:]), start=2):
        for k, (column, a, b) in enumerate(zip(old[0], was, now)):
            if a == b:
                continue
            old_number, new_number = number(a), number(b)
            ngspice = column.startswith("ngspice_")
            if ngspice and (a == "" or b == ""):
                continue
            if old_number is None or new_number is None:
                complaints.append(f"{path}:{line}: {column} was {a}, regenerated {b}")
                continue
            scale = abs(old_number)
            if over_time:
                scale = scale if k == 0 else swing if ngspice or column == "output_v" else max(abs(number(a)), 1e-9)
            elif column.endswith(("re", "re_ohm")):
                scale = abs(complex(old_number, number(was[k + 1])))
            elif column.endswith(("im", "im_ohm")):
                scale = abs(complex(number(was[k - 1]), old_number))
            elif column == "overshoot_percent":
                scale = 1.0
            if column.startswith("s") and column[1:3].isdigit():
                scale = 1.0
            tolerance = (NGSPICE_TIME if over_time else NGSPICE_AC) if ngspice else EXACT_TIME if over_time else EXACT
            if not abs(new_number - old_number) <= tolerance * scale:
                complaints.append(f"{path}:{line}: {column} was {a}, regenerated {b}")
    return complaints


def compare_file(path, other, rows):
    if rows is None:
        return compare_exact(path, other)
    return compare_capture(path, other, rows[path.name]) if path.name in rows else compare_table(path, other)


def main(committed, regenerated):
    names = {p.name for p in committed.iterdir() if p.name != "README.md"}
    new_names = {p.name for p in regenerated.iterdir()}
    complaints = [f"{committed / n}: not made by the generator" for n in sorted(names - new_names)]
    complaints += [f"{committed / n}: made by the generator but not committed" for n in sorted(new_names - names)]
    rows = None
    for table in (regenerated / "truth.csv", regenerated / "measured.csv"):
        if table.exists():
            with open(table, newline="") as file:
                rows = (rows or {}) | {row["file"]: row for row in csv.DictReader(file)}
    for name in sorted(names & new_names):
        complaints += compare_file(committed / name, regenerated / name, rows)
    for complaint in complaints[:40]:
        print(complaint, file=sys.stderr)
    if complaints:
        raise SystemExit(f"{committed}: {len(complaints)} differences; run reference/regenerate.sh if they are meant")
    print(f"{committed}: {len(names)} files agree with what the generators make")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
