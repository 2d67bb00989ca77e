"""Writes testdata/lines: S-parameters of uniform lines and of small cascades, by scikit-rf, checked with mpmath.

    lines.py OUTPUT_FOLDER
"""

import pathlib
import sys

import mpmath
import numpy as np
import skrf

HERTZ = np.array([1e3, 1e5, 1e6, 1e7, 3e7, 1e8, 3e8, 1e9, 7.5e10])
# name: R, L, G, C per metre, length. `millimetre` is the line whose S-parameters are quoted in the notes on published values.
LINES = {
    "lossy_probe_cable": (160.0, 330e-9, 0.0, 60e-12, 1.2),
    "coax_50": (0.5, 250e-9, 0.0, 100e-12, 1.0),
    "leaky": (160.0, 330e-9, 1e-6, 60e-12, 1.2),
    "strong_loss": (2.0, 8e-9, 0.5e-3, 0.23e-12, 1.0),
    "millimetre": (1e5, 1e-6, 1.0, 8e-12, 1e-3),
}
# Cascades on the first line: element, value; s marks a series element, p a shunt one; "line" the line itself.
CASCADES = {
    "divider": [("s_rc", 9e6, 34e-12 / 3), ("line",), ("p_c", 10e-12), ("p_rc", 1e6, 20e-12)],
    "ground_lead": [("s_l", 175e-9), ("s_r", 20.0), ("p_c", 2e-12), ("s_rc", 9e6, 34e-12 / 3), ("line",), ("s_r", 60.0), ("p_c", 30e-12)],
    "only_lumped": [("s_l", 100e-9), ("p_c", 10e-12), ("s_r", 50.0)],
}
HEADER = "name,frequency_hz,r_ohm_per_m,l_h_per_m,g_s_per_m,c_f_per_m,length_m,s11_re,s11_im,s21_re,s21_im,s12_re,s12_im,s22_re,s22_im"


def line_network(frequency, constants):
    r, l, g, c, length = constants
    medium = skrf.media.DistributedCircuit(frequency, R=r, L=l, G=g, C=c)
    line = medium.line(length, "m")
    # Ports of the line carry its own impedance at first.
    line.renormalize(50.0)
    return line


def element_network(frequency, element):
    """Lumped element as a network, from scikit-rf's own blocks on 50 ohm."""
    kind, *values = element
    medium = skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=1j)
    omega = 2 * np.pi * frequency.f
    if kind == "s_rc":
        return from_chain(frequency, 1 / (1 / values[0] + 1j * omega * values[1]), 0)
    if kind == "p_rc":
        return medium.shunt_capacitor(values[1]) ** medium.shunt(medium.resistor(values[0]) ** medium.short())
    return {"s_r": medium.resistor, "s_l": medium.inductor, "p_c": medium.shunt_capacitor}[kind](values[0])


def from_chain(frequency, z, y):
    a = np.zeros((len(frequency), 2, 2), complex)
    a[:, 0, 0] = a[:, 1, 1] = 1
    a[:, 0, 1], a[:, 1, 0] = z, y
    return skrf.Network(frequency=frequency, s=skrf.network.a2s(a, 50.0), z0=50.0)


def exact(hertz, stages):
    """S-parameters on 50 ohm by mpmath: chain matrix, then the textbook conversion."""
    s = mpmath.mpc(0, 2 * mpmath.pi * mpmath.mpf(float(hertz)))
    m = mpmath.eye(2)
    for kind, *values in stages:
        v = [mpmath.mpf(x) for x in values]
        if kind == "line":
            r, l, g, c, length = v
            z, y = r + s * l, g + s * c
            z0, gl = mpmath.sqrt(z / y), mpmath.sqrt(z * y) * length
            m *= mpmath.matrix([[mpmath.cosh(gl), z0 * mpmath.sinh(gl)], [mpmath.sinh(gl) / z0, mpmath.cosh(gl)]])
        elif kind[0] == "s":
            z = {"s_r": lambda: v[0], "s_l": lambda: s * v[0], "s_rc": lambda: 1 / (1 / v[0] + s * v[1])}[kind]()
            m *= mpmath.matrix([[1, z], [0, 1]])
        else:
            y = {"p_c": lambda: s * v[0], "p_rc": lambda: 1 / v[0] + s * v[1]}[kind]()
            m *= mpmath.matrix([[1, 0], [y, 1]])
    a, b, c, d = m[0, 0], m[0, 1] / 50, m[1, 0] * 50, m[1, 1]
    whole = a + b + c + d
    return [complex(x) for x in ((a + b - c - d) / whole, 2 / whole, 2 * (a * d - b * c) / whole, (-a + b - c + d) / whole)]


def rows(name, network, constants, stages):
    out, worst = [], 0.0
    for hertz, s in zip(network.f, network.s):
        got = [s[0, 0], s[1, 0], s[0, 1], s[1, 1]]
        true = exact(hertz, stages)
        # Deep in a lossy line |S21| is tiny and both programs round it: compared on the scale of 1.
        worst = max(worst, max(abs(a - b) for a, b in zip(got, true)))
        numbers = [hertz, *constants, *(x for v in got for x in (v.real, v.imag))]
        out.append(",".join([name, *(f"{x:.14g}" for x in numbers)]))
    if not worst < 1e-11:
        raise SystemExit(f"{name}: scikit-rf and mpmath differ by {worst:.1e}")
    return out, worst


def main(output):
    output.mkdir(parents=True, exist_ok=True)
    mpmath.mp.dps = 40
    frequency = skrf.Frequency.from_f(HERTZ, unit="hz")
    text = [HEADER]
    for name, constants in LINES.items():
        # A long line of high loss at 75 GHz lets nothing through that is worth saying.
        f = frequency if constants[-1] < 0.01 else skrf.Frequency.from_f(HERTZ[:-1], unit="hz")
        new, worst = rows(name, line_network(f, constants), constants, [("line", *constants)])
        print(f"{name:20} scikit-rf against mpmath {worst:.1e}")
        text += new
    (output / "lines.csv").write_text("\n".join(text) + "\n")
    text = [HEADER]
    constants = LINES["lossy_probe_cable"]
    f = skrf.Frequency.from_f(HERTZ[:-1], unit="hz")
    for name, stages in CASCADES.items():
        has_line = ("line",) in stages
        networks = [line_network(f, constants) if e == ("line",) else element_network(f, e) for e in stages]
        network = networks[0]
        for other in networks[1:]:
            network = network**other
        used = constants if has_line else (0.0,) * 5
        new, worst = rows(name, network, used, [("line", *constants) if e == ("line",) else e for e in stages])
        print(f"{name:20} scikit-rf against mpmath {worst:.1e}")
        text += new
    (output / "cascades.csv").write_text("\n".join(text) + "\n")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
