"""Writes testdata/correct: records distorted by the first-order shelf elsewhere, and what undoes it there.

    correct_shelf.py OUTPUT_FOLDER

scipy.csv: SciPy's first-order-hold discretisation of the shelf distorts a made-up record (`cont2discrete(method="foh")`, `lfilter`);
two of its ways lead back: the filter turned round, and polynomial division by the filter's impulse response (`deconvolve`).
ngspice.csv.gz: lumped dividers on a square wave with edges of 20 ns that fall between samples, times ten, beside the source. At rest before.
"""

import gzip
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from scipy.signal import cont2discrete, deconvolve, lfilter

import spice

# e, interval over τp.
CASES = [(-0.4, 0.002), (-0.4, 0.5), (-0.12, 0.02), (0.05, 0.004), (0.3, 3.0), (0.6, 0.01), (-0.8, 1.5)]
SAMPLES = 160
TAU_S = 1e-4

NETLIST = pathlib.Path(__file__).parent / "netlists" / "shelves.cir"
# The source rests before its first edge at 0.1 ms.
START_S, INTERVAL_S, POINTS = 70.03e-6, 0.2e-6, 5600


def made_up(random):
    """Steps, ramps and noise; the first values alike, since what came before rests there."""
    wave = np.concatenate((np.zeros(5), np.ones(50), np.linspace(1.0, -0.5, 40), np.full(SAMPLES - 95, 0.25)))
    return wave + np.where(np.arange(SAMPLES) < 5, 0.0, 0.2 * random.standard_normal(SAMPLES))


def scipy_table():
    random = np.random.Generator(np.random.PCG64(7))
    lines = ["e,time_constant_s,interval_s,truth,shown,turned_round,divided"]
    for e, share in CASES:
        truth = made_up(random)
        interval_s = share * TAU_S
        b, a, _ = cont2discrete(([(1 + e) * TAU_S, 1.0], [TAU_S, 1.0]), interval_s, method="foh")
        b, a = np.ravel(b), np.ravel(a)
        shown = lfilter(b, a, truth)
        turned_round = lfilter(a, b, shown)
        impulse = lfilter(b, a, np.eye(1, SAMPLES)[0])
        padded = np.concatenate((shown, np.zeros(SAMPLES - 1)))
        divided, _ = deconvolve(padded, impulse)
        for row in zip(truth, shown, turned_round, divided):
            lines.append(",".join([f"{e}", f"{TAU_S}", f"{interval_s:.9g}", *(f"{x:.15g}" for x in row)]))
    return "\n".join(lines) + "\n"


def ngspice_table():
    with tempfile.TemporaryDirectory() as folder:
        raw = pathlib.Path(folder) / "out.raw"
        done = subprocess.run(["ngspice", "-b", "-r", str(raw), NETLIST.name], cwd=NETLIST.parent, capture_output=True, text=True)
        if done.returncode != 0 or not raw.exists():
            raise SystemExit(f"{NETLIST}: ngspice failed\n{done.stdout}{done.stderr}")
        transient = spice.read_raw(raw)["Transient Analysis"]
    values = spice.parameters(NETLIST)
    grid_s = START_S + INTERVAL_S * np.arange(POINTS)
    # Steps of the simulator are short against everything but the edges, which fall on its steps: straight lines are right to 2e-7.
    names = ["m40", "m10", "p5", "p30", "p60"]
    shown = [10.0 * np.interp(grid_s, transient["time"], transient[f"v({name})"]) for name in names]
    half_s = values["period"] / 2
    edge_s, period_s = values["edge"], values["period"]
    # The record ends in the second period.
    corners_s = values["delay"] + np.array([0.0, edge_s, half_s, half_s + edge_s, period_s, period_s + edge_s])
    truth = np.interp(grid_s, corners_s, [0.0, 1.0, 1.0, 0.0, 0.0, 1.0])
    lines = [",".join(["time", "truth", *(f"ngspice_{name}" for name in names)])]
    lines += [",".join([f"{row[0]:.8g}", *(f"{x:.7f}" for x in row[1:])]) for row in zip(grid_s, truth, *shown)]
    return "\n".join(lines) + "\n"


def main(output):
    output.mkdir(parents=True, exist_ok=True)
    (output / "scipy.csv").write_text(scipy_table())
    (output / "ngspice.csv.gz").write_bytes(gzip.compress(ngspice_table().encode(), mtime=0))


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
