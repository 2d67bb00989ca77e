"""Writes testdata/characterise: captures of edges behind known responses, and what another estimator makes of them.

    characterise_cases.py OUTPUT_FOLDER

Square waves with Gaussian edges as Fourier series, through one pole, a Gaussian, a fourth-order Bessel filter (SciPy) and a pair of poles that
rings; white noise on both columns (PCG64, seed 20261125). One chain by ngspice, its transient against its own AC analysis.
Independent estimator: SciPy's `signal.csd` over `signal.welch` (H1) with a boxcar over whole periods, at odd harmonics.
"""

import csv
import gzip
import io
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import scipy.signal

import spice

INTERVAL_S = 0.5e-9
SAMPLES_PER_PERIOD = 1000
PERIODS = 6
SIGMA_S = 1e-9
BANDWIDTH_HZ = 60e6
NOISE_V = 1e-3
DELAY_S = 4.3e-9
FIRST_EDGE_S = 123.4e-9


def analog(b, a):
    return lambda f: scipy.signal.freqs(b, a, worN=2 * np.pi * f)[1]


def responses():
    w = 2 * np.pi * BANDWIDTH_HZ
    b, a = scipy.signal.bessel(4, w, analog=True, norm="mag")
    ring, zeta = 2 * np.pi * 50e6, 0.4
    return {
        "one_pole": analog([w], [1, w]),
        "gaussian": lambda f: np.exp2(-0.5 * (f / BANDWIDTH_HZ) ** 2).astype(complex),
        "bessel4": analog(b, a),
        "ringing": analog([ring**2], [1, 2 * zeta * ring, ring**2]),
    }


def square(times, response):
    """0 to 1, rising first, as a sum over odd harmonics."""
    f0 = 1 / (SAMPLES_PER_PERIOD * INTERVAL_S)
    out = np.full_like(times, 0.5)
    n = np.arange(1, 1501, 2)
    n = n[np.exp(-0.5 * (2 * np.pi * n * f0 * SIGMA_S) ** 2) > 1e-16]
    weight = 2 / (np.pi * n) * np.exp(-0.5 * (2 * np.pi * n * f0 * SIGMA_S) ** 2) * response(n * f0)
    for k, c in zip(n, weight):
        out += (c * np.exp(2j * np.pi * k * f0 * (times - FIRST_EDGE_S))).imag
    return out


def write_capture(path, times, probe, source):
    text = io.StringIO()
    text.write("time (s),probe (V),source (V)\n")
    for row in zip(times, probe, source):
        text.write(f"{row[0]:.6e},{row[1]:.6f},{row[2]:.6f}\n")
    with open(path, "wb") as raw, gzip.GzipFile(fileobj=raw, mode="wb", mtime=0, filename="") as packed:
        packed.write(text.getvalue().encode())


def simulated():
    """ngspice: (time, source, input) of the transient, (hertz, gain) of the AC analysis."""
    netlists = pathlib.Path(__file__).parent / "netlists"
    with tempfile.TemporaryDirectory() as folder:
        raw = pathlib.Path(folder) / "out.raw"
        subprocess.run(["ngspice", "-b", "-r", str(raw), "characterise.cir"], cwd=netlists, capture_output=True, check=True)
        analyses = spice.read_raw(raw)
    over_time = next(v for k, v in analyses.items() if "Transient" in k)
    over_frequency = next(v for k, v in analyses.items() if "AC" in k)
    return (
        (over_time["time"], over_time["v(source)"], over_time["v(in)"]),
        (over_frequency["frequency"].real, over_frequency["v(in)"] / over_frequency["v(source)"]),
    )


def main(folder):
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.Generator(np.random.PCG64(20261125))
    times = np.arange(PERIODS * SAMPLES_PER_PERIOD) * INTERVAL_S
    files, gains, estimates = [], [], []
    for name, response in responses().items():
        source = square(times, lambda f: np.ones_like(f, dtype=complex)) + rng.normal(0, NOISE_V, times.size)
        probe = square(times, lambda f: response(f) * np.exp(-2j * np.pi * f * DELAY_S)) + rng.normal(0, NOISE_V, times.size)
        source, probe = np.round(source, 6), np.round(probe, 6)
        write_capture(folder / f"{name}.csv.gz", times, probe, source)
        files.append((name, f"{name}.csv.gz", "0", "1"))
        for f in np.logspace(6.4, 8.4, 401):
            h = response(np.array([f, 1.0]))
            gains.append((name, f, abs(h[0] / h[1])))
        options = dict(fs=1 / INTERVAL_S, window="boxcar", nperseg=SAMPLES_PER_PERIOD, noverlap=0, detrend=False)
        f, cross = scipy.signal.csd(source, probe, **options)
        _, power = scipy.signal.welch(source, **options)
        h1 = np.abs(cross[1::2] / power[1::2])
        for f, gain in list(zip(f[1::2], h1 / h1[0]))[:40]:
            estimates.append((name, f, gain))
    (t, source, probe), (f, gain) = simulated()
    times = np.arange(int(1.19e-6 / 0.2e-9)) * 0.2e-9
    write_capture(
        folder / "ngspice.csv.gz", times, 10 * np.interp(times, t, probe), np.interp(times, t, source)
    )
    files.append(("ngspice", "ngspice.csv.gz", "0", "1"))
    gains += [("ngspice", x, g) for x, g in zip(f, np.abs(gain / gain[0]))]
    tables = {
        "truth.csv": (("case", "file", "low_v", "high_v"), files),
        "gains.csv": (("case", "frequency_hz", "gain"), [(c, f"{f:.9e}", f"{g:.9e}") for c, f, g in gains]),
        "estimates.csv": (("case", "frequency_hz", "gain"), [(c, f"{f:.9e}", f"{g:.9e}") for c, f, g in estimates]),
    }
    for name, (header, rows) in tables.items():
        with open(folder / name, "w", newline="") as out:
            writer = csv.writer(out, lineterminator="\n")
            writer.writerow(header)
            writer.writerows(rows)


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
