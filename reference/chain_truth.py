"""Writes testdata/chain: exact responses of every chain in chain_cases.py, over frequency and over time, beside ngspice's.

    chain_truth.py OUTPUT_FOLDER

Stops where ngspice and the exact response disagree by more than is said here.
"""

import concurrent.futures
import gzip
import pathlib
import sys

import numpy as np

import chain_cases
import chain_exact
import chain_ngspice
import chain_time

AC_AGREEMENT = 1e-4  # of gain and impedance
TIME_AGREEMENT = 2e-3  # of the step of the output
HERTZ = 10 * 10 ** (np.arange(97) / 12)


def lossless_like(case):
    """Cables in which ngspice's lossy line follows edges better, and far faster, than a ladder of sections."""
    return case.cable_resistance_ohm_per_m < 10


def write(path, header, columns):
    lines = [header]
    lines += [",".join("" if np.isnan(x) else f"{x:.12g}" for x in row) for row in zip(*columns)]
    text = ("\n".join(lines) + "\n").encode()
    path.write_bytes(gzip.compress(text, mtime=0) if path.suffix == ".gz" else text)


def frequency(case, output):
    """The file over frequency; returns the worst disagreement."""
    gain, impedance = chain_exact.gain_and_impedance(case, 2j * np.pi * HERTZ)
    scikit = chain_exact.scikit_rf(case, HERTZ)
    for ours, theirs in zip((gain, impedance), scikit):
        if not np.abs(theirs / ours - 1).max() < 1e-11:
            raise SystemExit(f"{case.case}: scikit-rf and NumPy disagree")
    columns = [HERTZ, gain.real, gain.imag, impedance.real, impedance.imag]
    worst = np.nan
    nothing = np.full(len(HERTZ), np.nan)
    if case.response == "gaussian":
        columns += [nothing] * 4
    else:
        # LTRA takes no R, L and G together: there a ladder.
        line = chain_ngspice.Line(2000 if case.cable_conductance_s_per_m else 0)
        hertz, gain_n, impedance_n = chain_ngspice.ac(case, line)
        if not np.allclose(hertz, HERTZ, rtol=1e-9):
            raise SystemExit(f"{case.case}: ngspice's frequencies are others")
        apart = np.maximum(np.abs(gain_n / gain - 1), np.abs(impedance_n / impedance - 1))
        right = apart < AC_AGREEMENT
        if not right[HERTZ < (1e8 if line.sections else 2e9)].all():
            raise SystemExit(f"{case.case}: ngspice AC off by {apart.max():.1e}")
        worst = apart[right].max()
        columns += [np.where(right, x, np.nan) for x in (gain_n.real, gain_n.imag, impedance_n.real, impedance_n.imag)]
    write(
        output / f"{case.case}_ac.csv",
        "frequency_hz,gain_re,gain_im,impedance_re_ohm,impedance_im_ohm,"
        "ngspice_gain_re,ngspice_gain_im,ngspice_impedance_re_ohm,ngspice_impedance_im_ohm",
        columns,
    )
    return worst


def instants(case):
    """Instants of a single-shot case: dense after each transition, then evenly in the logarithm of time."""
    starts = [(0.0, case.rise_s)]
    if case.signal == "pulse":
        starts.append((chain_time.fall_start_s(case), case.fall_s))
    if case.signal == "exponential":
        starts.append((case.width_s, 0.0))
    if case.signal == "burst":
        starts = [(0.0, case.cycles / case.frequency_hz)]
    parts = []
    for start, duration in starts:
        parts.append(start + (duration + 60e-9) * np.arange(1, 141) / 140)
        parts.append(start + duration + 60e-9 + 340e-9 * np.arange(1, 41) / 40)
    last = starts[-1][0] + starts[-1][1] + 400e-9
    end = 10e-3 if case.ac_corner_hz else 1e-3
    parts.append(last * (end / last) ** (np.arange(1, 101) / 100))
    # On a grid of 1 ps: the file says them exactly.
    return np.unique(np.round(np.concatenate(parts), 12))


def single_shot(case):
    """(time, exact, ngspice's)"""
    t = instants(case)
    exact = chain_time.by_laplace(case, t)
    if case.response == "gaussian":
        return t, exact, np.full(len(t), np.nan)
    if lossless_like(case):
        # Longer runs of the 450 ohm chain get stuck in ever smaller steps.
        until_s = 40e-9 if case.signal == "edge" else 60e-9
        runs = [chain_ngspice.transient(case, chain_ngspice.Line(0), until_s, 20e-12)]
    elif case.signal == "pulse":
        runs = [chain_ngspice.transient(case, chain_ngspice.Line(100), case.width_s + 0.3e-6, 200e-12)]
    elif case.rise_s > 100e-9:
        runs = [chain_ngspice.transient(case, chain_ngspice.Line(100), case.rise_s + 0.3e-6, 1e-9)]
    else:
        sections = 400 if np.isinf(case.bandwidth_hz) else 200
        runs = [chain_ngspice.transient(case, chain_ngspice.Line(sections), 0.2e-6, 100e-12)]
    # The tail, where the cable is no more than a few lumps. Chains of low impedance have no tail.
    if not lossless_like(case):
        runs.append(chain_ngspice.transient(case, chain_ngspice.Line(40), t[-1] * 1.001, 1e-6, 1e-5))
    simulated = chain_ngspice.at(runs[0], t)
    if len(runs) > 1:
        late = np.isnan(simulated) & (t > (2.5e-6 if case.signal == "pulse" else 0.5e-6))
        simulated[late] = chain_ngspice.at(runs[1], t)[late]
    return t, exact, simulated


# Harmonics, points of the Fourier grid per period, ngspice: sections (0: LTRA), periods before the one compared, step, reltol.
# LTRA with tighter tolerances runs into ever smaller steps here and does not end.
PERIODIC = {
    "sensor": (1 << 17, 1 << 19, 40, 40, 50e-9, 1e-4),
    "square_1khz": (1 << 20, 1 << 22, 60, 3, 1e-6, 1e-4),
    "square_10mhz": (1 << 14, 1 << 17, 160, 3, 100e-12, 1e-4),
    "trapezoid": (1 << 13, 1 << 17, 0, 1, 200e-12, 1e-3),
}


def periodic(case):
    """(time, exact, ngspice's) over one period."""
    harmonics, points, sections, periods, step_s, reltol = PERIODIC[case.case]
    period = 1 / case.frequency_hz
    time, _, output = chain_time.by_fourier(case, period, harmonics, points)
    down = chain_time.fall_start_s(case)
    wanted = [period * np.arange(200) / 200]
    for start, duration in ((0.0, case.rise_s), (down, case.fall_s)):
        wanted.append(start + min(3 * duration + 40e-9, 0.3 * period) * np.arange(1, 91) / 90)
    pick = np.unique(np.round(np.concatenate(wanted) / time[1]).astype(int))
    end = period * (periods + 1)
    run = chain_ngspice.transient(case, chain_ngspice.Line(sections), end * 1.0001, step_s, reltol)
    return time[pick], output[pick], chain_ngspice.at(run, time[pick] + period * periods)


def in_time(case, output):
    """The file over time; returns the worst disagreement, in the step of the output."""
    t, exact, simulated = periodic(case) if case.signal == "trapezoid" else single_shot(case)
    write(
        output / f"{case.case}_time.csv.gz", "time_s,source_v,output_v,ngspice_v",
        [t, chain_time.source_v(case, t), exact, simulated],
    )
    if np.isnan(simulated).all():
        return np.nan
    step = abs(chain_time.output_step_v(case))
    apart = np.abs(simulated - exact) / step
    if not np.nanmax(apart) < TIME_AGREEMENT:
        raise SystemExit(f"{case.case}: ngspice is off by {np.nanmax(apart):.1e} of the step at {t[np.nanargmax(apart)]} s")
    return np.nanmax(apart)


def one(case, output):
    return case.case, frequency(case, output), in_time(case, output)


def main(output):
    output.mkdir(parents=True, exist_ok=True)
    chain_cases.write(output / "cases.csv")
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        for name, ac, time in pool.map(lambda case: one(case, output), chain_cases.CASES):
            print(f"{name:14} ngspice against exact: AC {ac:.1e}, time {time:.1e} of the step", flush=True)


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
