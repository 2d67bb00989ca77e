"""Writes the synthetic captures and SciPy's own least-squares fits of them and of the ngspice captures.

    scipy_fits.py NGSPICE_FOLDER OUTPUT_FOLDER

Model of a square wave, with the edge times known: y = low + A (s(t) + e g(t; tau)), s the ideal wave (0 or 1) and
g what the exponentials of all edges so far add up to. Left out of the fit: samples closer to an edge than the guard of
the case (the edge itself, and ringing) or than one sampling interval, and nothing else.
"""

import csv
import pathlib
import sys

import numpy as np
from scipy.optimize import least_squares

import ngspice_cases
import synthetic


def periodic_tail(since_rise, high_s, period_s, tau):
    """g(t; tau) of a settled wave: geometric sums over all earlier edges of exp(-age/tau), falling ones negative."""
    whole = -np.expm1(-period_s / tau)
    high = -np.expm1(-(period_s - high_s) / tau) / whole * np.exp(-since_rise / tau)
    low = np.expm1(-high_s / tau) / whole * np.exp(-(since_rise - high_s) / tau)
    return np.where(since_rise < high_s, high, low)


class Wave:
    """The ideal wave at the samples kept for the fit."""

    def __init__(self, time_s, volts, frequency_hz, duty, guard_s):
        guard_s = max(guard_s, time_s[1] - time_s[0])
        if frequency_hz == 0.0:
            keep = np.abs(time_s) > guard_s
            self.period = None
        else:
            self.period, self.high = 1 / frequency_hz, duty / frequency_hz
            since = time_s % self.period
            keep = (since > guard_s) & (np.abs(since - self.high) > guard_s) & (since < self.period - guard_s)
        self.time, self.volts = time_s[keep], volts[keep]
        self.ideal = (self.time >= 0).astype(float) if self.period is None else (self.time % self.period < self.high) * 1.0

    def tail(self, tau):
        if self.period is None:
            return np.where(self.time >= 0, np.exp(-np.maximum(self.time, 0) / tau), 0.0)
        return periodic_tail(self.time % self.period, self.high, self.period, tau)


def model(kind, wave, p, hum_hz):
    """y for the parameters p = low, A, e, tau/100 us, and more by kind."""
    low, amplitude, e, tau = p[0], p[1], p[2], p[3] * 1e-4
    if kind == "hook":  # second exponential p[4], with p[5] ms
        return low + amplitude * (wave.ideal + (e - p[4]) * wave.tail(tau) + p[4] * wave.tail(p[5] * 1e-3))
    if kind == "droop":  # AC coupling of p[4] * 10 ms in front: partial fractions of the product; `low` is then the mean
        slow = p[4] * 1e-2
        part = (1 - (1 + e) * tau / slow) / (1 - tau / slow)
        return low + amplitude * (part * wave.tail(slow) + (1 + e - part) * wave.tail(tau))
    y = low + amplitude * (wave.ideal + e * wave.tail(tau))
    if kind == "hum":
        angle = 2 * np.pi * hum_hz * wave.time
        y += p[4] * np.sin(angle) + p[5] * np.cos(angle)
    return y


def fit(kind, wave, hum_hz=0.0):
    """(e, u_e, tau, u_tau, points, residual rms), from the same start whatever the case."""
    low, high = wave.volts[wave.ideal == 0].mean(), wave.volts[wave.ideal == 1].mean()
    start = [low, high - low, 0.01, 1.0]
    start += {"plain": [], "hook": [0.01, 1.3], "droop": [1.0], "hum": [0.0, 0.0]}[kind]
    if kind == "droop":
        start[0] = (low + high) / 2
    found = least_squares(
        lambda p: model(kind, wave, p, hum_hz) - wave.volts, start, method="lm", xtol=1e-12, ftol=1e-12, gtol=1e-12
    )
    if found.status <= 0:
        raise SystemExit(f"fit did not converge: {found.message}")
    rms2 = 2 * found.cost / (len(wave.volts) - len(start))
    _, singular, vectors = np.linalg.svd(found.jac, full_matrices=False)
    covariance = rms2 * (vectors.T / singular**2) @ vectors
    e, tau = found.x[2], found.x[3] * 1e-4
    return e, covariance[2, 2] ** 0.5, tau, covariance[3, 3] ** 0.5 * 1e-4, len(wave.volts), rms2**0.5


def ngspice_fits(folder):
    """Fits of the simulated captures: (case, file, result)."""
    kinds = {"hook": "hook", "droop": "droop"}
    guards_s = {"slow_edges": 2e-6, "ringing": 1e-6, "ringing_zoom": 1e-6}
    with open(folder / "truth.csv", newline="") as file:
        for row in csv.DictReader(file):
            case = row["case"]
            time_s, volts = np.loadtxt(folder / row["file"], delimiter=",", skiprows=1, unpack=True)
            wave = Wave(time_s, volts, float(row["frequency_hz"]), 0.5, guards_s.get(case, 0.0))
            yield case, row["file"], fit(kinds.get(case, "plain"), wave)


def synthetic_fits(output):
    """Writes the synthetic squares and fits them as written: (case, file, result)."""
    for square in synthetic.SQUARES:
        time_s, volts = synthetic.square_capture(square)
        ngspice_cases.write_capture(output / square.file, time_s, {"volts": volts})
        time_s, volts = np.loadtxt(output / square.file, delimiter=",", skiprows=1, unpack=True)
        wave = Wave(time_s, volts, square.frequency_hz, square.duty, 0.0)
        yield square.case, square.file, fit("hum" if square.hum_hz else "plain", wave, square.hum_hz)


def write_table(path, header, rows):
    with open(path, "w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(header)
        table.writerows(rows)


def write_truth(output):
    rows = []
    for s in synthetic.SQUARES:
        rows.append([
            s.case, "square", s.e, s.tau_s, s.low_v, s.high_v, s.frequency_hz or "", s.duty if s.frequency_hz else "",
            s.r1_ohm, s.r2_ohm, s.interval_s, s.points, s.noise_v, s.step_v or "", s.hum_hz or "", s.hum_v or "",
            "", "", s.file, s.note,
        ])
    for s in synthetic.SINES:
        gain = synthetic.response(s)
        rows.append([
            s.case, "sine", s.e, s.tau_s, -s.amplitude_v, s.amplitude_v, s.frequency_hz, "", 9e6, 1e6, s.interval_s,
            s.points, s.noise_v, "", "", "", f"{abs(gain):.12g}", f"{np.angle(gain):.12g}", s.file, s.note,
        ])
    write_table(output / "truth.csv", [
        "case", "kind", "e", "tau_s", "low_v", "high_v", "frequency_hz", "duty", "r1_ohm", "r2_ohm", "interval_s", "points",
        "noise_v", "quantum_v", "hum_hz", "hum_v", "relative_gain", "phase_rad", "file", "note",
    ], rows)


def main(ngspice_folder, output):
    output.mkdir(parents=True, exist_ok=True)
    write_truth(output)
    for sine in synthetic.SINES:
        time_s, probe, reference = synthetic.sine_capture(sine)
        ngspice_cases.write_capture(output / sine.file, time_s, {"probe": probe, "reference": reference})
    results = [("ngspice", *one) for one in ngspice_fits(ngspice_folder)]
    results += [("scipy", *one) for one in synthetic_fits(output)]
    write_table(
        output / "fits.csv",
        ["case", "e", "u_e", "tau_s", "u_tau_s", "points", "residual_rms_v", "file"],
        [
            [case, f"{e:.9f}", f"{u_e:.4e}", f"{tau:.9e}", f"{u_tau:.4e}", points, f"{rms:.4e}", f"testdata/{folder}/{file}"]
            for folder, case, file, (e, u_e, tau, u_tau, points, rms) in results
        ],
    )


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]))
