"""Uncertainty of an amplitude read through a probe: Monte Carlo in NumPy, independent of Flattop.

The chain (node, contact, tip, lossy cable, box, input with a Gaussian response) is multiplied out as two-port matrices for every trial.

    budget.py FOLDER          writes FOLDER/amplitude.csv: estimate, u, symmetric and shortest 95 % interval at eight frequencies
    budget.py --time N        prints the seconds that N trials at 50 frequencies take (drawing, chain, mean, u, both intervals)
"""

import os
import sys
import time

import numpy as np

AMPLITUDE_V = 2.5
TRUTH_FREQUENCIES_HZ = [1e3, 1e4, 1e5, 1e6, 3e6, 1e7, 3e7, 1e8]
CABLE = {"length": 1.2, "r": 160.0, "l": 330e-9, "c": 60e-12}


def draw(rng, n):
    """Inputs of n trials, half-widths of rectangular ones as tolerances."""
    def even(middle, half):
        return rng.uniform(middle - half, middle + half, n)

    z1, z2 = rng.standard_normal(n), rng.standard_normal(n)
    r = -0.6
    return {
        "node_r": even(10e3, 100.0),
        "node_c": even(3e-12, 1e-12),
        "lead_l": even(120e-9, 20e-9),
        "r1": even(9e6, 45e3),
        "r2": even(1e6, 10e3),
        # Trim: C1 and the box's capacitance are correlated.
        "c1": 12e-12 + 0.05e-12 * z1,
        "box_c": 16e-12 + 0.3e-12 * (r * z1 + np.sqrt(1 - r * r) * z2),
        "input_c": even(20e-12, 2e-12),
        "bandwidth": even(200e6, 20e6),
        "gain": even(0.0, 0.015),
        "noise": 2.5e-3 * rng.standard_normal(n),
        # Six readings: t with five degrees of freedom.
        "reading": 4e-3 * rng.standard_t(5, n),
    }


def nominal():
    return {
        "node_r": 10e3, "node_c": 3e-12, "lead_l": 120e-9, "r1": 9e6, "r2": 1e6, "c1": 12e-12, "box_c": 16e-12,
        "input_c": 20e-12, "bandwidth": 200e6, "gain": 0.0, "noise": 0.0, "reading": 0.0,
    }


def shown_over_true(x, f):
    """|shown/true| of a sine: 10 times the input's voltage over that of the node without the probe."""
    s = 2j * np.pi * f
    series = (CABLE["r"] + s * CABLE["l"]) * CABLE["length"]
    shunt = s * CABLE["c"] * CABLE["length"]
    root = np.sqrt(series * shunt)
    a, b, c = np.cosh(root), series * np.sinh(root) / root, shunt * np.sinh(root) / root
    # From the input backwards, 1 V there.
    i = 1 / x["r2"] + s * (x["input_c"] + x["box_c"])
    v = 1 + 100.0 * i
    v, i = a * v + b * i, c * v + a * i
    v = v + i * (50.0 + x["r1"] / (1 + s * x["r1"] * x["c1"]))
    i = i + s * 1e-12 * v
    v = v + i * (10.0 + s * x["lead_l"])
    i = i + s * x["node_c"] * v
    source = v + i * x["node_r"]
    unloaded = 1 / (1 + s * x["node_r"] * x["node_c"])
    response = np.exp2(-0.5 * (f / x["bandwidth"]) ** 2)
    return 10 * response / np.abs(source * unloaded)


def amplitude(x, f, shown):
    return (shown + x["reading"] + x["noise"]) / ((1 + x["gain"]) * shown_over_true(x, f))


def summary(y, p=0.95):
    """Mean, standard deviation, symmetric and shortest interval (JCGM 101, 7.6 and 7.7)."""
    mean, u = y.mean(), y.std(ddof=1)
    y = np.sort(y)
    m = len(y)
    q = int(p * m + 0.5)
    r = (m - q + 1) // 2
    width = y[q:] - y[: m - q]
    k = int(np.argmin(width))
    return mean, u, y[r - 1], y[r - 1 + q], y[k], y[k + q]


def write(folder):
    os.makedirs(folder, exist_ok=True)
    rng = np.random.default_rng(20_260)
    trials, parts = 400_000, 20
    shown = {f: AMPLITUDE_V * shown_over_true(nominal(), f) for f in TRUTH_FREQUENCIES_HZ}
    values = {f: [] for f in TRUTH_FREQUENCIES_HZ}
    for _ in range(parts):
        x = draw(rng, trials)
        for f in TRUTH_FREQUENCIES_HZ:
            values[f].append(amplitude(x, f, shown[f]))
    with open(f"{folder}/amplitude.csv", "w", newline="") as file:
        file.write("frequency_hz,shown_v,mean_v,u_v,low_v,high_v,shortest_low_v,shortest_high_v\n")
        for f in TRUTH_FREQUENCIES_HZ:
            row = summary(np.concatenate(values[f]))
            file.write(",".join([f"{f:g}", f"{shown[f]:.9g}"] + [f"{v:.7g}" for v in row]) + "\n")


def seconds(trials):
    frequencies = 1e3 * 1e5 ** (np.arange(50) / 49)
    shown = [AMPLITUDE_V * shown_over_true(nominal(), f) for f in frequencies]
    best = {}
    # All trials at once, and in pieces that stay in the cache.
    for piece in (trials, 20_000):
        start = time.perf_counter()
        rng = np.random.default_rng(1)
        y = np.empty((len(frequencies), trials))
        for at in range(0, trials, piece):
            x = draw(rng, min(piece, trials - at))
            for k, f in enumerate(frequencies):
                y[k, at : at + piece] = amplitude(x, f, shown[k])
        for row in y:
            summary(row)
        best[piece] = time.perf_counter() - start
    print(" ".join(f"{best[piece]:.3f}" for piece in (trials, 20_000)))


if __name__ == "__main__":
    if len(sys.argv) == 3 and sys.argv[1] == "--time":
        seconds(int(float(sys.argv[2])))
    elif len(sys.argv) == 2:
        write(sys.argv[1])
    else:
        sys.exit(__doc__)
