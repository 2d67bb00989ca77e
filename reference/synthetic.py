"""Synthetic captures with known truth: seeded NumPy noise on the closed form of the shelf.

Each case says everything about itself; `truth.csv` repeats it. Volts are at the probe tip (after multiplying by the ratio).
"""

import dataclasses

import numpy as np


@dataclasses.dataclass
class Square:
    """A square wave through the shelf, and what the recorder adds."""

    case: str
    seed: int
    e: float
    tau_s: float
    start_s: float
    interval_s: float
    points: int
    note: str
    low_v: float = 0.0
    high_v: float = 3.0
    frequency_hz: float = 1000.0  # 0: a single rising edge at time zero
    duty: float = 0.5
    noise_v: float = 0.0
    step_v: float = 0.0  # quantisation, 0: none
    hum_hz: float = 0.0
    hum_v: float = 0.0
    hum_phase_rad: float = 0.0
    r1_ohm: float = 9e6
    r2_ohm: float = 1e6

    @property
    def file(self):
        return f"{self.case}.csv.gz"


@dataclasses.dataclass
class Sine:
    """A sine at the tip (reference column) and what the probe's column shows of it."""

    case: str
    seed: int
    e: float
    tau_s: float
    frequency_hz: float
    interval_s: float
    points: int
    note: str
    amplitude_v: float = 1.0
    phase_rad: float = 0.3
    noise_v: float = 1e-3

    @property
    def file(self):
        return f"{self.case}.csv.gz"


SQUARES = [
    Square("quantised", 101, -0.12, 1.1e-4, -250.13e-6, 0.5e-6, 5000, noise_v=0.005, step_v=4.0 / 256,
           note="8 bits over 4 V; noise of a third of a code"),
    Square("noisy", 102, 0.08, 1.0e-4, -250.13e-6, 0.5e-6, 5000, noise_v=0.09, note="white noise of 3 percent of the step"),
    Square("single_edge", 103, -0.12, 1.1e-4, -99.93e-6, 0.2e-6, 2500, frequency_hz=0.0, noise_v=0.006,
           note="one rising edge with 400 us of tail"),
    Square("hum", 104, 0.06, 1.15e-4, -312.7e-6, 5e-6, 5000, noise_v=0.003, hum_hz=50.0, hum_v=0.06, hum_phase_rad=0.7,
           note="25 periods with 50 Hz hum of 2 percent of the step (amplitude)"),
    Square("hundred_noisy", 105, -0.03, 1.19e-4, -250.13e-6, 0.5e-6, 5000, low_v=-20.0, high_v=20.0, noise_v=0.2, r1_ohm=99e6,
           note="100x divider; noise of half a percent of the step"),
    Square("duty", 106, 0.2, 0.9e-4, -412.3e-6, 1e-6, 5000, frequency_hz=500.0, duty=0.3, noise_v=0.015,
           note="500 Hz at 30 percent duty; noise of half a percent of the step"),
]

SINES = [
    Sine("sine_200hz", 201, -0.08, 1.1e-4, 200.0, 7.3e-6, 2500, "well below the pole at 1.45 kHz"),
    Sine("sine_2khz", 202, -0.08, 1.1e-4, 2e3, 0.73e-6, 2500, "near the pole at 1.45 kHz"),
    Sine("sine_50khz", 203, -0.08, 1.1e-4, 50e3, 0.043e-6, 2500, "well above the pole at 1.45 kHz"),
]


def edges(square, until_s):
    """Rising and falling edges from long before the record to its end."""
    if square.frequency_hz == 0.0:
        return np.array([0.0]), np.array([])
    period = 1 / square.frequency_hz
    rising = period * np.arange(np.floor((square.start_s - 40 * square.tau_s) / period) - 1, until_s / period)
    return rising, rising + square.duty * period


def shelf(square, time_s):
    """The plain sum of step responses 1 + e exp(-t/tau) of all edges: the definition, not a short cut."""
    rising, falling = edges(square, time_s[-1])
    shown = np.zeros_like(time_s)
    for sign, times in ((1.0, rising), (-1.0, falling)):
        for at in times:
            after = time_s >= at
            shown[after] += sign * (1 + square.e * np.exp(-(time_s[after] - at) / square.tau_s))
    return shown


def square_capture(square):
    """(time, volts) of a square-wave case."""
    time_s = square.start_s + square.interval_s * np.arange(square.points)
    volts = square.low_v + (square.high_v - square.low_v) * shelf(square, time_s)
    volts += square.hum_v * np.sin(2 * np.pi * square.hum_hz * time_s + square.hum_phase_rad)
    volts += square.noise_v * np.random.Generator(np.random.PCG64(square.seed)).standard_normal(square.points)
    if square.step_v > 0.0:
        volts = square.step_v * np.round(volts / square.step_v)
    return time_s, volts


def response(sine):
    """Complex gain of the shelf relative to its DC gain."""
    s = 2j * np.pi * sine.frequency_hz
    return (1 + s * (1 + sine.e) * sine.tau_s) / (1 + s * sine.tau_s)


def sine_capture(sine):
    """(time, probe, reference) of a sine case."""
    time_s = sine.interval_s * np.arange(sine.points)
    angle = 2 * np.pi * sine.frequency_hz * time_s + sine.phase_rad
    gain = response(sine)
    noise = np.random.Generator(np.random.PCG64(sine.seed)).standard_normal((2, sine.points))
    probe = sine.amplitude_v * abs(gain) * np.sin(angle + np.angle(gain)) + sine.noise_v * noise[0]
    return time_s, probe, sine.amplitude_v * np.sin(angle) + sine.noise_v * noise[1]
