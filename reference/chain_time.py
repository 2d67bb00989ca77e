"""Responses in time, without a circuit simulator: inversion of the Laplace transform, and Fourier series.

Inversion is done twice: along a vertical line in double precision by one long FFT per window (for the first microseconds,
where reflections live) or on a bent contour (later, where only slow poles are left); and by mpmath's de Hoog method.
"""

import mpmath
import numpy as np

import chain_exact


def source_v(case, t):
    """The source over time."""
    t = np.asarray(t, dtype=float)
    swing = case.high_v - case.low_v

    def ramp(since, duration):
        return np.clip(since / duration, 0, 1)

    if case.signal == "edge":
        return case.low_v + swing * ramp(t, case.rise_s)
    if case.signal == "exponential":
        up = np.where(t > 0, -np.expm1(-np.maximum(t, 0) / case.time_constant_s), 0)
        later = np.maximum(t - case.width_s, 0)
        return case.low_v + swing * (up - np.where(t > case.width_s, -np.expm1(-later / case.time_constant_s), 0))
    if case.signal == "burst":
        inside = (t >= 0) & (t <= case.cycles / case.frequency_hz)
        return (case.low_v + case.high_v) / 2 + swing / 2 * np.where(inside, np.sin(2 * np.pi * case.frequency_hz * t), 0)
    if case.signal == "trapezoid":
        t = np.mod(t, 1 / case.frequency_hz)
    rise, down = ramp(t, case.rise_s), fall_start_s(case)
    return case.low_v + swing * (rise - ramp(t - down, case.fall_s))


def fall_start_s(case):
    """When a pulse starts down: its width counts between half-way crossings."""
    width = case.width_s or case.duty / case.frequency_hz
    return width + (case.rise_s - case.fall_s) / 2


def rest_v(case):
    """Where a single-shot signal rests before time 0."""
    return (case.low_v + case.high_v) / 2 if case.signal == "burst" else case.low_v


def transform(case, s, kind=np):
    """Laplace transform of source - rest; `kind` is numpy or mpmath. 1 - exp(-x) without loss of digits for small x."""
    number = mpmath.mpf if kind is mpmath else float

    def gone(x):
        return -kind.expm1(-x)

    swing = number(case.high_v) - number(case.low_v)
    if case.signal == "edge":
        r = number(case.rise_s)
        return swing * gone(s * r) / (r * s**2)
    if case.signal == "pulse":
        r, f = number(case.rise_s), number(case.fall_s)
        down = number(case.width_s) + (r - f) / 2
        return swing * (gone(s * r) / r - kind.exp(-s * down) * gone(s * f) / f) / s**2
    if case.signal == "exponential":
        return swing * gone(s * number(case.width_s)) / s / (1 + s * number(case.time_constant_s))
    if case.signal == "burst":
        omega = 2 * kind.pi * number(case.frequency_hz)
        return swing / 2 * omega / (s**2 + omega**2) * gone(s * number(case.cycles) / number(case.frequency_hz))
    raise ValueError(case.signal)


def by_line(case, t, window_s, terms):
    """Inversion along Re s = a, period 2*window: f(t) = exp(at)/T * Re sum F(a + i pi k/T) exp(i pi k t/T), on the FFT's own
    instants and by polynomials of degree 4 between them. Aliases are exp(-2aT) = 1e-11 small."""
    a = 12.7 / window_s
    s = a + 1j * np.pi * np.arange(terms) / window_s
    f = transform(case, s) * chain_exact.gain(case, s)
    f[0] *= 0.5
    # The terms fade out over the last tenth: no Gibbs ripple from the end of the series.
    fade = np.clip((np.arange(terms) / terms - 0.9) / 0.1, 0, 1)
    f *= 0.5 * (1 + np.cos(np.pi * fade))
    size = 4 * terms
    grid = np.arange(size) * (2 * window_s / size)
    values = np.fft.ifft(np.concatenate((f, np.zeros(size - terms)))).real * size * np.exp(a * grid) / window_s
    near = np.clip(np.round(t / grid[1]).astype(int), 2, size // 2 - 3)
    x = t / grid[1] - near
    # Five-point Lagrange interpolation between the FFT's instants.
    out = np.zeros_like(t)
    offsets = np.arange(-2, 3)
    for j in offsets:
        weight = np.ones_like(t)
        for m in offsets:
            if m != j:
                weight *= (x - m) / (j - m)
        out += weight * values[(near + j) % size]
    return out


def by_contour(case, t, points=32):
    """Inversion on a parabola s = mu (i u + 1)^2 (Weideman and Trefethen 2007), one per instant. For late instants only: it
    leaves out what rings faster than about points/t, so all that must have died."""
    u = (np.arange(points) + 0.5) * (3 / points)
    out = np.empty_like(t)
    mu = np.pi / 12 * points / t
    for start in range(0, len(t), 64):
        part = slice(start, start + 64)
        s = mu[part, None] * (1j * u + 1) ** 2
        step = 2j * mu[part, None] * (1j * u + 1) * (3 / points)
        f = transform(case, s) * chain_exact.gain(case, s)
        out[part] = (np.exp(s * t[part, None]) * f * step / (2j * np.pi)).sum(axis=1).real * 2
    return out


def dc_gain(case):
    return 0.0 if case.ac_corner_hz else chain_exact.gain(case, np.array([1e-9])).real[0]


def output_step_v(case):
    """What the source's swing comes to at the output at low frequencies (AC coupling left out)."""
    gain = chain_exact.gain_and_impedance(case, np.array([1e-9 + 0j]))[0] if not case.ac_corner_hz else None
    return (case.high_v - case.low_v) * (1 / case.ratio if gain is None else gain[0].real)


def by_de_hoog(case, t, degree=None):
    """One instant by mpmath's de Hoog, Knight and Stokes method."""

    def f(s):
        return transform(case, s, mpmath) * chain_exact.many_digits(case, s)[0]

    options = {"method": "dehoog"}
    if degree:
        options["degree"] = degree
    return float(mpmath.invertlaplace(f, t, **options)) + rest_v(case) * dc_gain(case)


WINDOW_S, TERMS = 6e-6, 1 << 19
BY_LINE_UNTIL_S = 5e-6


def by_laplace(case, t):
    """Single-shot response at instants t > 0, whichever inversion is right there."""
    early = t < BY_LINE_UNTIL_S
    out = np.empty_like(t)
    out[early] = by_line(case, t[early], WINDOW_S, TERMS)
    out[~early] = by_contour(case, t[~early])
    return out + rest_v(case) * dc_gain(case)


def fourier_coefficients(case, period_s, harmonics):
    """c_n, n = 1...: source = mean + sum 2 Re c_n exp(2 pi i n t/P), in closed form; and the mean. Single-shot signals are
    repeated every period_s."""
    n = np.arange(1, harmonics + 1)
    s = 2j * np.pi * n / period_s
    swing = case.high_v - case.low_v
    if case.signal == "trapezoid":
        down = fall_start_s(case)
        # Slope of the signal, n-th coefficient, over s: a ramp of duration r is a box of height 1/r.
        box = lambda start, r: np.exp(-s * (start + r / 2)) * np.sinc(n * r / period_s)
        c = swing / period_s * (box(0, case.rise_s) - box(down, case.fall_s)) / s
        return c, case.low_v + swing * case.duty
    c = transform(case, s) / period_s
    mean = {"pulse": case.width_s, "exponential": case.width_s, "burst": 0.0}[case.signal] / period_s
    return c, rest_v(case) + swing * mean


def by_fourier(case, period_s, harmonics, points):
    """(time, source, output) over one period at `points` instants (a power of 2 above 2*harmonics)."""
    c, mean = fourier_coefficients(case, period_s, harmonics)
    s = 2j * np.pi * np.arange(1, harmonics + 1) / period_s
    out = []
    for first, coefficients in ((mean, c), (mean * dc_gain(case), c * chain_exact.gain(case, s))):
        half = np.zeros(points // 2 + 1, complex)
        half[0], half[1 : harmonics + 1] = first, coefficients
        out.append(np.fft.irfft(half) * points)
    return np.arange(points) * (period_s / points), *out
