"""Writes testdata/responses: forms of an input's response by SciPy's filter design, with 1 Hz of -3 dB bandwidth.

    responses.py OUTPUT_FOLDER

Gaussian: closed form, its constant delay left out. Step responses come from the residues at SciPy's poles.
"""

import csv
import math
import pathlib
import sys

import numpy as np
import scipy.optimize
import scipy.signal
import scipy.special

RATIOS = np.array([0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 1 / 3, 0.5, 0.7, 0.9, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0])
STEPS_S = np.concatenate((np.arange(1, 61) * 0.02, np.arange(13, 41) * 0.1))
PUBLISHED = pathlib.Path(__file__).parent / "published" / "rise_time_bandwidth_products.csv"


def poles(shape, order):
    if shape == "bessel":
        return scipy.signal.bessel(order, 2 * np.pi, analog=True, output="zpk", norm="mag")[1]
    return scipy.signal.butter(order, 2 * np.pi, analog=True, output="zpk")[1]


def gain(p, hertz):
    s = 2j * np.pi * hertz
    return np.prod(-p) / np.prod(s[:, None] - p, axis=1)


def step(p, t):
    """1 + sum of residues of H(s)/s."""
    out = np.ones_like(t)
    for k, pole in enumerate(p):
        others = np.delete(p, k)
        out = out + (np.prod(-p) / np.prod(pole - others) / pole * np.exp(pole * t)).real
    return out


def figures(response, first_s, last_s):
    """(10-90 percent transition duration in s at 1 Hz, overshoot in percent): first crossings, highest point."""
    t = np.linspace(first_s, last_s, 20001)
    y = response(t)

    def crossing(level):
        k = int(np.argmax(y >= level))
        return scipy.optimize.brentq(lambda x: response(np.array([x]))[0] - level, t[k - 1], t[k], xtol=1e-15, rtol=1e-14)

    k = int(np.argmax(y))
    overshoot = 0.0
    if y[k] > 1 + 1e-9 and 0 < k < len(t) - 1:
        top = scipy.optimize.minimize_scalar(
            lambda x: -response(np.array([x]))[0], bounds=(t[k - 1], t[k + 1]), method="bounded", options={"xatol": 1e-9}
        )
        overshoot = 100 * (-top.fun - 1)
    return crossing(0.9) - crossing(0.1), overshoot


def table(path, header, rows):
    with open(path, "w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(header)
        out.writerows(rows)


def main(output):
    output.mkdir(parents=True, exist_ok=True)
    shapes = [("single_pole", 1)] + [("bessel", 4)] + [("butterworth", n) for n in range(1, 11)]
    sigma = math.sqrt(math.log(2)) / (2 * math.pi)

    def gaussian_step(t):
        return 0.5 * scipy.special.erfc(-np.asarray(t) / (sigma * math.sqrt(2)))

    frequency, time, summary = [], [], []
    for shape, order in shapes:
        p = poles("butterworth" if shape == "single_pole" else shape, order)
        h = gain(p, RATIOS)
        # Phase along the curve from 0 Hz: the sum of the poles' angles.
        phase = -np.sum(np.angle((2j * np.pi * RATIOS[:, None] - p) / -p), axis=1)
        frequency += [[shape, order, *(f"{x:.12g}" for x in row)] for row in zip(RATIOS, np.abs(h), phase, h.real, h.imag)]
        time += [[shape, order, f"{t:.12g}", f"{y:.12g}"] for t, y in zip(STEPS_S, step(p, STEPS_S))]
        summary.append([shape, order, *figures(lambda t: step(p, t), 1e-9, 12.0)])
    magnitude = 2 ** (-(RATIOS**2) / 2)
    frequency += [["gaussian", 0, f"{r:.12g}", f"{m:.12g}", 0, f"{m:.12g}", 0] for r, m in zip(RATIOS, magnitude)]
    around = np.concatenate((-STEPS_S[:30][::-1], [0.0], STEPS_S))
    time += [["gaussian", 0, f"{t:.12g}", f"{y:.12g}"] for t, y in zip(around, gaussian_step(around))]
    summary.append(["gaussian", 0, *figures(gaussian_step, -1.0, 1.0)])

    with open(PUBLISHED, newline="") as file:
        for row in csv.DictReader(file):
            for shape, order, product, overshoot in summary:
                if order != int(row["order"]) or shape not in ("bessel", "butterworth"):
                    continue
                apart = abs(product - float(row[f"{shape}_trBW"])), abs(overshoot - float(row[f"{shape}_overshoot_percent"]))
                if apart[0] > 5e-6 or apart[1] > 1e-3:
                    raise SystemExit(f"{shape} of order {order}: {product}, {overshoot} against the table {row}")
    table(output / "frequency.csv", ["shape", "order", "frequency_over_bandwidth", "magnitude", "phase_rad", "re", "im"], frequency)
    table(output / "step.csv", ["shape", "order", "time_times_bandwidth", "step"], time)
    table(
        output / "figures.csv", ["shape", "order", "transition_duration_times_bandwidth", "overshoot_percent"],
        [[s, n, f"{a:.10g}", f"{b:.8f}"] for s, n, a, b in summary],
    )


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
