"""Writes testdata/correct/chain.csv.gz: an edge behind whole chains by ngspice, beside what a correction may at best show of it.

    correct_chain.py OUTPUT_FOLDER

Truths are the node with the probe on it and the node without, each through a Gaussian of 100 MHz (-3 dB): its impulse response is summed over the
simulator's own waveform (trapezoids of 25 ps), with no word about the chain.
"""

import gzip
import pathlib
import subprocess
import sys
import tempfile

import numpy as np

import spice

NETLIST = pathlib.Path(__file__).parent / "netlists" / "correct_chain.cir"
BANDWIDTH_HZ = 100e6
INTERVAL_S, POINTS = 0.5e-9, 3000
FINE_S = 25e-12


def through_gaussian(time_s, wave):
    """2^(-(f/F)^2/2) is a Gaussian over time with sigma = sqrt(ln 2)/(2 pi F)."""
    sigma = np.sqrt(np.log(2)) / (2 * np.pi * BANDWIDTH_HZ)
    reach = int(np.ceil(8 * sigma / FINE_S))
    weight = np.exp(-0.5 * (np.arange(-reach, reach + 1) * FINE_S / sigma) ** 2)
    grid = np.arange(-reach, int(round(INTERVAL_S / FINE_S)) * POINTS + reach + 1) * FINE_S
    fine = np.interp(grid, time_s, wave)
    smooth = np.convolve(fine, weight / weight.sum(), mode="valid")
    return smooth[:: int(round(INTERVAL_S / FINE_S))][:POINTS]


def main(output):
    output.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        raw = pathlib.Path(folder) / "out.raw"
        done = subprocess.run(["ngspice", "-b", "-r", str(raw), NETLIST.name], cwd=NETLIST.parent, capture_output=True, text=True)
        if done.returncode != 0 or not raw.exists():
            raise SystemExit(f"{NETLIST}: ngspice failed\n{done.stdout}{done.stderr}")
        transient = spice.read_raw(raw)["Transient Analysis"]
    time_s = transient["time"]
    grid_s = INTERVAL_S * np.arange(POINTS)
    columns = {"time": grid_s}
    for case in ("first", "second"):
        columns[f"ngspice_tip_{case}"] = through_gaussian(time_s, transient[f"v({case})"])
        columns[f"ngspice_node_{case}"] = through_gaussian(time_s, transient[f"v(bare_{case})"])
        columns[f"ngspice_shown_{case}"] = np.interp(grid_s, time_s, transient[f"v(shown_{case})"])
    lines = [",".join(columns)]
    lines += [",".join([f"{row[0]:.6g}", *(f"{x:.7f}" for x in row[1:])]) for row in zip(*columns.values())]
    (output / "chain.csv.gz").write_bytes(gzip.compress(("\n".join(lines) + "\n").encode(), mtime=0))


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
