"""The chain in the complex frequency s: NumPy chain matrices, the same by scikit-rf, the same by mpmath with 40 digits.

NumPy is the fast one; the other two tell how exact it is. Order of the cascade: node (series R, shunt C), contact (series
L and R), body (shunt C), tip (series: R1 || C1, and a resistance), cable, box (series R, shunt C), input (R || C).
"""

import mpmath
import numpy as np
import scipy.signal
import skrf


def series(impedance):
    one = np.ones_like(impedance)
    return np.array([[one, impedance], [0 * one, one]]).transpose(2, 0, 1)


def shunt(admittance):
    one = np.ones_like(admittance)
    return np.array([[one, 0 * one], [admittance, one]]).transpose(2, 0, 1)


def cable(case, s):
    """Chain matrix of the uniform line: cosh(gamma l), and sinh(gamma l)/(gamma l) times the whole Z or Y."""
    z = (case.cable_resistance_ohm_per_m + s * case.cable_inductance_h_per_m) * case.cable_length_m
    y = (case.cable_conductance_s_per_m + s * case.cable_capacitance_f_per_m) * case.cable_length_m
    gamma = np.sqrt(z * y)
    small = np.abs(gamma) < 1e-4
    safe = np.where(small, 1, gamma)
    ratio = np.where(small, 1 + gamma**2 / 6, np.sinh(safe) / safe)
    cosh = np.cosh(gamma)
    return np.array([[cosh, z * ratio], [y * ratio, cosh]]).transpose(2, 0, 1)


def tip_impedance(case, s):
    r, c = case.tip_resistance_ohm, case.tip_capacitance_f
    return r / (1 + s * r * c) + case.series_resistance_ohm


def after_node(case, s, line):
    """Chain matrix from the contact to the input, the input included; `line` is the cable's."""
    matrix = series(s * case.contact_inductance_h + case.contact_resistance_ohm)
    for stage in (
        shunt(s * case.body_capacitance_f), series(tip_impedance(case, s)), line,
        series(case.box_series_resistance_ohm + 0 * s), shunt(s * case.box_capacitance_f),
        shunt(1 / case.input_resistance_ohm + s * case.input_capacitance_f),
    ):
        matrix = matrix @ stage
    return matrix


def section(case):
    """(real pole or None, [(omega0, Q), ...]) of the input's response, rad/s; poles from SciPy's filter design."""
    corner = 2 * np.pi * case.bandwidth_hz
    if case.response == "single_pole":
        poles = np.array([-corner])
    elif case.response == "bessel":
        poles = scipy.signal.bessel(case.order, corner, analog=True, output="zpk", norm="mag")[1]
    elif case.response == "butterworth":
        poles = scipy.signal.butter(case.order, corner, analog=True, output="zpk")[1]
    else:
        raise ValueError(case.response)
    poles = [complex(p) for p in poles]
    real = [-p.real for p in poles if abs(p.imag) < 1e-6 * abs(p)]
    pairs = [(abs(p), abs(p) / (-2 * p.real)) for p in poles if p.imag >= 1e-6 * abs(p)]
    return (real[0] if real else None), pairs


def response(case, s):
    """The input's response, coupling included."""
    gain = np.ones_like(s)
    if np.isfinite(case.bandwidth_hz):
        if case.response == "gaussian":
            gain = gain * np.exp(np.log(2) / 2 * (s / (2 * np.pi * case.bandwidth_hz)) ** 2)
        else:
            real, pairs = section(case)
            if real is not None:
                gain = gain / (1 + s / real)
            for omega, q in pairs:
                gain = gain / (1 + s / (omega * q) + (s / omega) ** 2)
    if case.ac_corner_hz > 0:
        gain = gain * s / (s + 2 * np.pi * case.ac_corner_hz)
    return gain


def gain_and_impedance(case, s, line=None):
    """(V_out/V_source, impedance from the node into the contact)."""
    matrix = after_node(case, s, cable(case, s) if line is None else line)
    a, c = matrix[:, 0, 0], matrix[:, 1, 0]
    total = a * (1 + s * case.node_resistance_ohm * case.node_capacitance_f) + c * case.node_resistance_ohm
    return response(case, s) / total, a / c


def gain(case, s):
    """V_out/V_source alone, for very many s: voltage and current back from the input instead of matrices."""
    s = np.asarray(s, dtype=complex)
    z = (case.cable_resistance_ohm_per_m + s * case.cable_inductance_h_per_m) * case.cable_length_m
    y = (case.cable_conductance_s_per_m + s * case.cable_capacitance_f_per_m) * case.cable_length_m
    v, i = 1.0, 1 / case.input_resistance_ohm + s * (case.input_capacitance_f + case.box_capacitance_f)
    v = v + i * case.box_series_resistance_ohm
    gamma = np.sqrt(z * y)
    small = np.abs(gamma) < 1e-4
    gamma = np.where(small, 1e-4, gamma)
    e = np.exp(gamma)
    cosh, ratio = (e + 1 / e) / 2, (e - 1 / e) / (2 * gamma)
    cosh, ratio = np.where(small, 1 + z * y / 2, cosh), np.where(small, 1 + z * y / 6, ratio)
    v, i = v * cosh + i * z * ratio, v * y * ratio + i * cosh
    v = v + i * tip_impedance(case, s)
    i = i + v * s * case.body_capacitance_f
    v = v + i * (s * case.contact_inductance_h + case.contact_resistance_ohm)
    i = i + v * s * case.node_capacitance_f
    return response(case, s) / (v + i * case.node_resistance_ohm)


def scikit_rf(case, hertz):
    """The same with the line's chain matrix from scikit-rf's own DistributedCircuit."""
    line = skrf.media.DistributedCircuit(
        skrf.Frequency.from_f(hertz, unit="hz"), R=case.cable_resistance_ohm_per_m, L=case.cable_inductance_h_per_m,
        G=case.cable_conductance_s_per_m, C=case.cable_capacitance_f_per_m,
    ).line(case.cable_length_m, "m")
    return gain_and_impedance(case, 2j * np.pi * hertz, line.a)


def many_digits(case, s):
    """(gain, impedance) by mpmath, from the currents and voltages themselves instead of matrices: input first, then back to
    the source, the line by its characteristic impedance. A third form; its precision is the caller's mp.dps."""
    m = mpmath.mpf
    s = mpmath.mpmathify(s)
    v, i = mpmath.mpc(1), 1 / m(case.input_resistance_ohm) + s * m(case.input_capacitance_f)
    i += v * s * m(case.box_capacitance_f)
    v += i * m(case.box_series_resistance_ohm)
    z = m(case.cable_resistance_ohm_per_m) + s * m(case.cable_inductance_h_per_m)
    y = m(case.cable_conductance_s_per_m) + s * m(case.cable_capacitance_f_per_m)
    z0, gamma_l = mpmath.sqrt(z / y), mpmath.sqrt(z * y) * m(case.cable_length_m)
    forward, backward = (v + z0 * i) / 2 * mpmath.exp(gamma_l), (v - z0 * i) / 2 * mpmath.exp(-gamma_l)
    v, i = forward + backward, (forward - backward) / z0
    if case.tip_resistance_ohm:
        v += i / (1 / m(case.tip_resistance_ohm) + s * m(case.tip_capacitance_f))
    v += i * m(case.series_resistance_ohm)
    i += v * s * m(case.body_capacitance_f)
    v += i * (s * m(case.contact_inductance_h) + m(case.contact_resistance_ohm))
    impedance = v / i
    i += v * s * m(case.node_capacitance_f)
    v += i * m(case.node_resistance_ohm)
    gain = 1 / v
    if np.isfinite(case.bandwidth_hz):
        corner = 2 * mpmath.pi * m(case.bandwidth_hz)
        if case.response == "gaussian":
            gain *= mpmath.exp(mpmath.log(2) / 2 * (s / corner) ** 2)
        elif case.response == "single_pole":
            gain /= 1 + s / corner
        elif case.response == "butterworth":
            for k in range(case.order):
                gain /= 1 - s / corner / mpmath.expjpi(m(2 * k + case.order + 1) / (2 * case.order))
        else:
            # Reverse Bessel polynomial of order 4, scaled by the corner where |theta(jx)|^2 = 2 * 105^2.
            def theta(x):
                return 105 + x * (105 + x * (45 + x * (10 + x)))

            x3 = mpmath.findroot(lambda x: abs(theta(mpmath.mpc(0, x))) ** 2 - 2 * 105**2, 2.1)
            gain *= 105 / theta(s * x3 / corner)
    if case.ac_corner_hz > 0:
        gain *= s / (s + 2 * mpmath.pi * m(case.ac_corner_hz))
    return gain, impedance
