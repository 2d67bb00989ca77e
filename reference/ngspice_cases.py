"""Captures of divider probes simulated with ngspice, and the truth about each from its element values.

    ngspice_cases.py OUTPUT_FOLDER
"""

import concurrent.futures
import csv
import gzip
import pathlib
import sys

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

import chain
import spice

NETLISTS = pathlib.Path(__file__).parent / "netlists"
CABLE_F = 72e-12  # probe.lib: 1.2 m of 60 pF/m

# netlist, nominal ratio, then (file, start before the rising edge, interval, points).
# The odd starts keep the samples off the corners of the edges.
LONG = (-250.13e-6, 0.5e-6, 5000)
CASES = [
    ("under", 10, [("under.csv", *LONG)]),
    ("right", 10, [("right.csv", *LONG)]),
    ("over", 10, [("over.csv", *LONG)]),
    ("strong_under", 10, [("strong_under.csv", *LONG)]),
    ("strong_over", 10, [("strong_over.csv", *LONG)]),
    ("hundred", 100, [("hundred.csv", *LONG)]),
    ("slow_edges", 10, [("slow_edges.csv", *LONG)]),
    ("hook", 10, [("hook.csv", *LONG)]),
    ("droop", 10, [("droop.csv", *LONG)]),
    ("ringing", 10, [("ringing.csv", *LONG), ("ringing_zoom.csv.gz", -20.003e-6, 8e-9, 50_000)]),
]


def resample(time_s, volts, at_s):
    """Cubic interpolation between the simulator's own steps (it puts a step on each corner of the source)."""
    if at_s[0] < time_s[0] or at_s[-1] > time_s[-1]:
        raise SystemExit(f"the simulation covers {time_s[0]}..{time_s[-1]} s, asked for {at_s[0]}..{at_s[-1]} s")
    keep = np.concatenate(([True], np.diff(time_s) > 1e-15))
    return CubicSpline(time_s[keep], volts[keep])(at_s)


def rising_edge_s(values, after_s):
    """Time of the first rising source edge (its middle) after `after_s`."""
    first = values["delay"] + values["period"] / 2 + values["edge"] / 2
    return first + values["period"] * np.ceil((after_s - first) / values["period"])


def closed_form(values):
    """(e, tau_s, C2, slower exponential or None) of the lumped divider, from the element values alone."""
    r1, r2, c1 = values["r1"], values["r2"], values["c1"]
    c2 = CABLE_F + values["cbox"] + values["cin"]
    e = c1 / (c1 + c2) / (r2 / (r1 + r2)) - 1
    if "cslow" not in values:
        return e, r1 * r2 / (r1 + r2) * (c1 + c2), c2, None
    # With the slow branch Y1 = 1/R1 + sC1 + sCs/(1+sTs). H = Y1/(Y1+Y2), multiplied through by (1+sTs):
    ts, cs = values["rslow"] * values["cslow"], values["cslow"]
    y1 = np.array([c1 * ts, c1 + cs + ts / r1, 1 / r1])
    y2 = np.array([c2 * ts, c2 + ts / r2, 1 / r2])
    fast, slow = sorted(np.roots(y1 + y2).real)
    # Step response = DC gain + residues of H(s)/s at the poles.
    slope = np.polyder(y1 + y2)
    part = [np.polyval(y1, s) / np.polyval(slope, s) / s / (r2 / (r1 + r2)) for s in (fast, slow)]
    # The step response is 1 + part[0] exp(fast t) + part[1] exp(slow t), and e = part[0] + part[1].
    return e, -1 / fast, c2, (part[1], -1 / slow)


def from_ac(hertz, gain, values):
    """(e, tau_s) of the netlist as it stands, source resistance and cable included.

    Fits g0 (1+s a)/(1+s b), times whatever else the case has and a delay, to the AC analysis up to 30 kHz.
    """
    use = hertz <= 3e4
    s, gain = 2j * np.pi * hertz[use], gain[use]
    e, tau_s, _, _ = closed_form(values)

    def model(p):
        g0, a, b, delay = p[0], p[1] * 1e-4, p[2] * 1e-4, p[3] * 1e-8
        shelf = g0 * (1 + s * a) / (1 + s * b) * np.exp(-s * delay)
        if "cslow" in values:
            shelf *= (1 + s * p[4] * 1e-3) / (1 + s * p[5] * 1e-3)
        if "ccouple" in values:
            shelf *= s * p[4] * 1e-2 / (1 + s * p[4] * 1e-2)
        return shelf

    def residuals(p):
        relative = model(p) / gain - 1
        return np.concatenate((relative.real, relative.imag))

    start = [values["r2"] / (values["r1"] + values["r2"]), (1 + e) * tau_s * 1e4, tau_s * 1e4, 0.0]
    start += [1.01, 1.0] if "cslow" in values else [1.6] if "ccouple" in values else []
    fit = least_squares(residuals, start, method="lm", x_scale=np.abs(start) + 0.1, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    p = fit.x
    ratio = p[1] / p[2] * (p[4] / p[5] if "cslow" in values else 1.0)
    return ratio - 1, p[2] * 1e-4


def write_capture(path, time_s, columns):
    """Writes `time,volts` (gzip when the name says so, without a date inside)."""
    lines = [",".join(["time", *columns])]
    lines += [",".join(f"{x:.8g}" for x in row) for row in zip(time_s, *columns.values())]
    text = ("\n".join(lines) + "\n").encode()
    path.write_bytes(gzip.compress(text, mtime=0) if path.suffix == ".gz" else text)


def main(output):
    output.mkdir(parents=True, exist_ok=True)
    netlists = [NETLISTS / f"{name}.cir" for name, _, _ in CASES]
    with concurrent.futures.ThreadPoolExecutor() as pool:
        runs = list(pool.map(spice.run, netlists))
    rows = []
    for (name, ratio, exports), netlist, ((time_s, volts), (hertz, gain)) in zip(CASES, netlists, runs):
        values = spice.parameters(netlist)
        chain.check(name, values, hertz, gain)
        e, tau_s, c2_f, tail = closed_form(values)
        e_ac, tau_ac_s = from_ac(hertz, gain, values)
        for file, start_s, interval_s, points in exports:
            zero_s = rising_edge_s(values, time_s[0] - start_s)
            grid_s = start_s + interval_s * np.arange(points)
            shown = ratio * resample(time_s, volts, zero_s + grid_s)
            write_capture(output / file, grid_s, {"volts": shown})
            rows.append([
                file.split(".")[0], f"{e:.9f}", f"{tau_s:.9e}", f"{values['c1']:.9g}", f"{c2_f:.9g}",
                "closed form of the lumped divider", spice.title(netlist).replace(",", ";"),
                file, f"{values['r1']:g}", f"{values['r2']:g}", f"{1 / values['period']:g}", f"{values['low']:g}",
                f"{values['high']:g}", f"{e_ac:.9f}", f"{tau_ac_s:.9e}",
                f"{tail[0]:.9f}" if tail else "", f"{tail[1]:.9e}" if tail else "",
            ])
    with open(output / "truth.csv", "w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow([
            "case", "e", "tau_s", "c1_f", "c2_f", "source", "note", "file", "r1_ohm", "r2_ohm", "frequency_hz",
            "low_v", "high_v", "e_ac", "tau_ac_s", "tail", "tail_tau_s",
        ])
        table.writerows(rows)


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
