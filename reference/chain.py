"""Second opinion on the netlists: the same chain as a cascade of two-ports with a distributed line, by scikit-rf.

It guards against a slip in the netlists (a forgotten cable section, a wrong suffix): truth must not rest on one program.
"""

import numpy as np
import skrf

CABLE = {"R": 160.0, "L": 330e-9, "G": 0.0, "C": 60e-12}  # per metre
LENGTH_M = 1.2
# Share of the gain. The 20 sections differ from the line itself by about |gamma l|^2 / (12 * 20^2), 5e-6 at 300 kHz.
AGREEMENT = 1e-5


def series(impedance):
    one = np.ones_like(impedance)
    return np.array([[one, impedance], [0 * one, one]]).transpose(2, 0, 1)


def shunt(admittance):
    one = np.ones_like(admittance)
    return np.array([[one, 0 * one], [admittance, one]]).transpose(2, 0, 1)


def gain(values, hertz):
    """Voltage gain from the source's open-circuit voltage to the input."""
    s = 2j * np.pi * hertz
    frequency = skrf.Frequency.from_f(hertz, unit="hz")
    line = skrf.media.DistributedCircuit(frequency, **CABLE).line(LENGTH_M, "m")
    stages = [series(np.full_like(s, 50.0))]
    if "ccouple" in values:
        stages += [series(1 / (s * values["ccouple"])), shunt(np.full_like(s, 1 / values["rcouple"]))]
    if "lground" in values:
        stages += [series(s * values["lground"] + values["rground"]), shunt(s * values["cbody"])]
    tip = 1 / values["r1"] + s * values["c1"]
    if "cslow" in values:
        tip = tip + 1 / (values["rslow"] + 1 / (s * values["cslow"]))
    stages += [series(1 / tip), line.a, shunt(s * (values["cbox"] + values["cin"]) + 1 / values["r2"])]
    whole = stages[0]
    for stage in stages[1:]:
        whole = whole @ stage
    return 1 / whole[:, 0, 0]


def check(name, values, hertz, simulated):
    """Stops when the simulator's AC analysis and this cascade disagree anywhere up to 300 kHz."""
    use = hertz <= 3e5
    apart = np.abs(gain(values, hertz[use]) / simulated[use] - 1).max()
    if not apart <= AGREEMENT:
        raise SystemExit(f"{name}: AC analysis and scikit-rf differ by {apart:.2e} of the gain, {AGREEMENT:.0e} allowed")
