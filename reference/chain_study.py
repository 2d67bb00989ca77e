"""How far the methods behind testdata/chain disagree, and what ngspice costs: prints tables, writes nothing, takes minutes.

    chain_study.py

1. NumPy, scikit-rf and ngspice (LTRA, ladders) against mpmath with 40 digits, over frequency.
2. The inversion in double precision against mpmath's de Hoog method, at some instants; against a series of four times its
   length; and against Fourier series, where the signal can be repeated. Fourier series of periodic signals against the sum
   of all earlier edges, by inversion.
3. ngspice's LTRA over time against the exact response, at two tightnesses; ladders of three lengths.
"""

import dataclasses
import time

import mpmath
import numpy as np

import chain_cases
import chain_exact
import chain_ngspice
import chain_time
import chain_truth

# Instants, and de Hoog's degree: cables with little loss ring for long, which takes many terms.
INSTANTS_S = np.array([3e-9, 8e-9, 12e-9, 25e-9, 60e-9, 150e-9, 0.4e-6, 1.5e-6, 8e-6, 50e-6, 300e-6])
DEGREES = (40, 40, 40, 60, 100, 150, 150, 40, 40, 40, 40)


def over_frequency(case):
    mpmath.mp.dps = 40
    hertz = chain_truth.HERTZ
    true = np.array([complex(chain_exact.many_digits(case, mpmath.mpc(0, 2 * mpmath.pi * mpmath.mpf(float(f))))[0]) for f in hertz])
    worst = lambda got: np.abs(got / true - 1).max()
    cells = [worst(chain_exact.gain_and_impedance(case, 2j * np.pi * hertz)[0]), worst(chain_exact.scikit_rf(case, hertz)[0])]
    for sections in (0, 100, 400, 1000) if case.response != "gaussian" else ():
        if sections == 0 and case.cable_conductance_s_per_m:
            cells += ["none"]
            continue
        got = chain_ngspice.ac(case, chain_ngspice.Line(sections))[1]
        cells += [worst(got)]
    return cells


def single_shot(case):
    """Worst disagreements in the output's step: de Hoog, four times longer series, Fourier."""
    mpmath.mp.dps = 30
    step = abs(chain_time.output_step_v(case))
    got = chain_time.by_laplace(case, INSTANTS_S)
    slow = np.array([chain_time.by_de_hoog(case, float(t), d) for t, d in zip(INSTANTS_S, DEGREES)])
    t = chain_truth.instants(case)
    early = t < chain_time.BY_LINE_UNTIL_S
    longer = chain_time.by_line(case, t[early], chain_time.WINDOW_S, 4 * chain_time.TERMS)
    longer += chain_time.rest_v(case) * chain_time.dc_gain(case)
    exact = chain_time.by_laplace(case, t)
    cells = [np.abs(slow - got).max() / step, np.abs(longer - exact[early]).max() / step]
    if case.signal != "edge" and chain_truth.lossless_like(case):
        period = 10.003e-6  # no multiple of the period of the burst, whose own coefficient would be 0/0
        time_s, _, output = chain_time.by_fourier(case, period, 1 << 18, 1 << 20)
        use = np.arange(16, 40000, 16)
        cells.append(np.abs(chain_time.by_laplace(case, time_s[use]) - output[use]).max() / step)
    return cells


def superposition(case):
    """A periodic case at some instants as the sum of all earlier edges, by inversion: Fourier has no part in it."""
    harmonics, points, *_ = chain_truth.PERIODIC[case.case]
    period = 1 / case.frequency_hz
    grid, _, output = chain_time.by_fourier(case, period, harmonics, points)
    pick = (np.array([0.013, 0.11, 0.37, 0.52, 0.61, 0.93]) * points).astype(int)
    up = dataclasses.replace(case, signal="edge", high_v=case.high_v - case.low_v, low_v=0.0)
    fall = dataclasses.replace(up, rise_s=case.fall_s)
    earlier = np.arange(int(np.ceil(2.5e-3 / period)) + 1) * period
    edge_at = lambda edge, t: np.where(t > 0, chain_time.by_laplace(edge, np.maximum(t, 1e-12)), 0)
    worst = 0.0
    for k in pick:
        t = grid[k] + earlier
        down = t - chain_time.fall_start_s(case)
        got = (edge_at(up, t) - edge_at(fall, down)).sum() + case.low_v * chain_time.dc_gain(case)
        worst = max(worst, abs(got - output[k]))
    return worst / abs(chain_time.output_step_v(case))


def in_ngspice(case, line, step_s, reltol, until_s=40e-9):
    began = time.monotonic()
    try:
        t, v = chain_ngspice.transient(case, line, until_s, step_s, reltol)
    except SystemExit as stuck:
        return str(stuck)
    taken = time.monotonic() - began
    use = t > 1e-12
    apart = np.abs(v[use] - chain_time.by_laplace(case, t[use])).max() / abs(chain_time.output_step_v(case))
    return f"{apart:.1e} ({taken:.1f} s)"


def show(case, cells):
    print(f"| `{case.case}` | " + " | ".join(x if isinstance(x, str) else f"{x:.1e}" for x in cells) + " |", flush=True)


def main():
    print("| case | NumPy | scikit-rf | LTRA | 100 sections | 400 | 1000 |")
    for case in chain_cases.CASES:
        show(case, over_frequency(case))
    print("| case | de Hoog | longer series | Fourier |")
    for case in chain_cases.CASES:
        if case.signal != "trapezoid":
            show(case, single_shot(case))
    print("| case | sum of edges against Fourier |")
    for case in chain_cases.CASES:
        if case.signal == "trapezoid":
            show(case, [superposition(case)])
    print("| case | LTRA 100 ps | LTRA 20 ps | 100 sections | 200 | 400 |")
    for case in chain_cases.EDGES:
        if case.response == "gaussian" or case.cable_conductance_s_per_m:
            continue
        cells = [in_ngspice(case, chain_ngspice.Line(0), step, 1e-4) for step in (100e-12, 20e-12)]
        cells += [in_ngspice(case, chain_ngspice.Line(n), 100e-12, 1e-4) for n in (100, 200, 400)]
        show(case, cells)


if __name__ == "__main__":
    main()
