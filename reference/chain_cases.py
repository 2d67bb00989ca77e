"""The chains and signals whose responses are the outside truth in testdata/chain: plain numbers in SI units.

A case is one chain (node, contact, tip, cable, box, input) and one signal. The fields are the columns of `cases.csv`.
"""

import csv
import dataclasses
import math

INFINITE = math.inf


@dataclasses.dataclass(frozen=True)
class Case:
    """One chain with one signal. Times of a signal count from the start of its first transition."""

    case: str
    note: str
    # Node: Thevenin resistance, capacitance to ground. Contact: series inductance and resistance.
    node_resistance_ohm: float = 25.0
    node_capacitance_f: float = 0.0
    contact_inductance_h: float = 0.0
    contact_resistance_ohm: float = 0.0
    # Tip: body capacitance to ground, then R1 || C1 with a resistance in series.
    body_capacitance_f: float = 0.0
    tip_resistance_ohm: float = 9e6
    tip_capacitance_f: float = 34e-12 / 3
    series_resistance_ohm: float = 0.0
    # The lossy cable of REFERENCES 1.3.
    cable_length_m: float = 1.2
    cable_resistance_ohm_per_m: float = 160.0
    cable_inductance_h_per_m: float = 330e-9
    cable_capacitance_f_per_m: float = 60e-12
    cable_conductance_s_per_m: float = 0.0
    # Box: resistance in series, then capacitance to ground. Input: R || C to ground, response behind a buffer.
    box_series_resistance_ohm: float = 0.0
    box_capacitance_f: float = 10e-12
    input_resistance_ohm: float = 1e6
    input_capacitance_f: float = 20e-12
    response: str = "single_pole"  # single_pole, gaussian, bessel, butterworth
    bandwidth_hz: float = INFINITE
    order: int = 1
    ac_corner_hz: float = 0.0  # 0: coupled down to 0 Hz
    ratio: float = 10.0
    signal: str = "edge"  # edge, pulse, trapezoid, exponential, burst
    low_v: float = 0.0
    high_v: float = 1.0
    frequency_hz: float = 0.0
    duty: float = 0.0
    rise_s: float = 0.0
    fall_s: float = 0.0
    width_s: float = 0.0
    time_constant_s: float = 0.0
    cycles: int = 0


# Cable with little loss, 50 ohm: 0.5 ohm/m, 250 nH/m, 100 pF/m.
COAX = dict(cable_resistance_ohm_per_m=0.5, cable_inductance_h_per_m=250e-9, cable_capacitance_f_per_m=100e-12)
GOOD = Case("good", "10x; well adjusted; lossy cable; stiff source of 25 ohm", rise_s=5e-9)
LEAD = dataclasses.replace(
    GOOD, case="ground_lead", note="10x with a ground lead of 150 mm (175 nH) and an edge of 2 ns",
    node_capacitance_f=3e-12, contact_inductance_h=175e-9, contact_resistance_ohm=2.0, body_capacitance_f=2e-12,
    box_series_resistance_ohm=60.0, response="bessel", order=4, bandwidth_hz=200e6, rise_s=2e-9, high_v=3.0,
)
UNDER = dataclasses.replace(
    GOOD, case="under", note="10x; C1 too small: e = -12 percent", tip_capacitance_f=102e-12 * 0.088 / 0.912,
    contact_inductance_h=20e-9, contact_resistance_ohm=5.0, box_series_resistance_ohm=80.0, bandwidth_hz=100e6, rise_s=10e-9,
)
LOW_450 = dataclasses.replace(
    GOOD, case="low_450", note="10x low-impedance probe: 450 ohm into 50 ohm; edge of 0.5 ns", **COAX, cable_length_m=1.0,
    contact_inductance_h=4e-9, body_capacitance_f=0.3e-12, tip_resistance_ohm=450.0, tip_capacitance_f=0.05e-12,
    box_capacitance_f=0.0, input_resistance_ohm=50.0, input_capacitance_f=3e-12, response="butterworth", order=3,
    bandwidth_hz=1e9, rise_s=0.5e-9,
)
HUNDRED = dataclasses.replace(
    GOOD, case="hundred", note="100x; C1 3 percent large", node_resistance_ohm=50.0, contact_inductance_h=50e-9,
    body_capacitance_f=1.5e-12, tip_resistance_ohm=99e6, tip_capacitance_f=1.03 * 102e-12 / 99,
    series_resistance_ohm=150.0, box_series_resistance_ohm=100.0, ratio=100.0, bandwidth_hz=200e6, high_v=200.0, rise_s=20e-9,
)

EDGES = [
    GOOD,
    LEAD,
    UNDER,
    dataclasses.replace(
        UNDER, case="over", note="10x; C1 too large: e = +20 percent", tip_capacitance_f=102e-12 * 0.12 / 0.88,
        bandwidth_hz=60e6, low_v=-1.0, rise_s=1e-6,
    ),
    HUNDRED,
    dataclasses.replace(
        LOW_450, case="low_950", note="20x low-impedance probe: 950 ohm into 50 ohm", tip_resistance_ohm=950.0,
        ratio=20.0, response="single_pole", order=1, bandwidth_hz=500e6, rise_s=1e-9, node_capacitance_f=2e-12,
    ),
    dataclasses.replace(
        GOOD, case="one_times", note="1x probe: 1 m of cable into 1 Mohm; node of 300 ohm", **COAX, cable_length_m=1.0,
        node_resistance_ohm=300.0, node_capacitance_f=10e-12, contact_inductance_h=100e-9, tip_resistance_ohm=0.0,
        tip_capacitance_f=0.0, box_capacitance_f=0.0, ratio=1.0, bandwidth_hz=100e6, rise_s=10e-9,
    ),
    dataclasses.replace(
        GOOD, case="reflections", note="1x; 2 m of mismatched cable of 75 ohm with little loss: strong reflections",
        node_resistance_ohm=5.0, tip_resistance_ohm=0.0, tip_capacitance_f=0.0, series_resistance_ohm=20.0,
        cable_length_m=2.0, cable_resistance_ohm_per_m=0.2, cable_inductance_h_per_m=375e-9,
        cable_capacitance_f_per_m=200e-12 / 3, box_capacitance_f=0.0, input_capacitance_f=15e-12, ratio=1.0,
        bandwidth_hz=350e6, rise_s=1e-9,
    ),
    dataclasses.replace(
        HUNDRED, case="switching", note="400 V switching node with edges of 50 ns; 100x; pulse of 2 us",
        node_resistance_ohm=10.0, node_capacitance_f=100e-12, contact_inductance_h=120e-9, contact_resistance_ohm=0.0,
        high_v=400.0, signal="pulse", rise_s=50e-9, fall_s=30e-9, width_s=2e-6, bandwidth_hz=100e6,
    ),
    dataclasses.replace(
        UNDER, case="ac_coupled", note="10x; input coupled through a capacitor: 100 Hz", ac_corner_hz=100.0,
        tip_capacitance_f=11e-12, rise_s=20e-9,
    ),
    dataclasses.replace(
        LEAD, case="butterworth5", note="10x; short ground; Butterworth input of order 5", contact_inductance_h=25e-9,
        contact_resistance_ohm=40.0, response="butterworth", order=5, bandwidth_hz=150e6, rise_s=1e-9,
    ),
    dataclasses.replace(
        LEAD, case="gaussian", note="10x; ground of 60 nH; Gaussian input", contact_inductance_h=60e-9,
        contact_resistance_ohm=20.0, response="gaussian", order=1, bandwidth_hz=250e6, rise_s=1e-9,
    ),
    dataclasses.replace(
        UNDER, case="leaky", note="10x; cable with conductance (1 uS/m)", cable_conductance_s_per_m=1e-6,
        tip_capacitance_f=12e-12, rise_s=3e-9,
    ),
]

SIGNALS = [
    dataclasses.replace(
        GOOD, case="sensor", note="sensor of 1 Mohm at 20 kHz", node_resistance_ohm=1e6, node_capacitance_f=5e-12,
        contact_inductance_h=100e-9, signal="trapezoid", frequency_hz=20e3, duty=0.5, rise_s=1e-6, fall_s=1e-6, high_v=5.0,
        bandwidth_hz=100e6,
    ),
    dataclasses.replace(
        UNDER, case="square_1khz", note="chain `under`; square wave of 1 kHz", signal="trapezoid", frequency_hz=1e3, duty=0.5,
        rise_s=100e-9, fall_s=100e-9, low_v=-1.5, high_v=1.5,
    ),
    dataclasses.replace(
        LEAD, case="square_10mhz", note="chain `ground_lead`; square wave of 10 MHz", signal="trapezoid", frequency_hz=10e6,
        duty=0.4, rise_s=2e-9, fall_s=3e-9,
    ),
    dataclasses.replace(
        LOW_450, case="trapezoid", note="chain `low_450`; lopsided trapezoid of 20 MHz", signal="trapezoid", frequency_hz=20e6,
        duty=0.3, rise_s=5e-9, fall_s=10e-9, high_v=2.0,
    ),
    dataclasses.replace(
        LOW_450, case="burst", note="chain `low_450`; three periods of 50 MHz", signal="burst", frequency_hz=50e6, cycles=3,
        low_v=-0.5, high_v=1.5, rise_s=0.0,
    ),
    dataclasses.replace(
        LOW_450, case="exponential", note="chain `low_450`; exponential of 4 ns, turning back after 15 ns", signal="exponential",
        time_constant_s=4e-9, width_s=15e-9, rise_s=0.0,
    ),
    dataclasses.replace(
        LOW_450, case="pulse", note="chain `low_450`; upside-down pulse of 5 ns", signal="pulse", rise_s=1e-9, fall_s=2e-9,
        width_s=5e-9, low_v=0.2, high_v=-1.0,
    ),
]

EDGES.insert(5, LOW_450)
CASES = EDGES + SIGNALS


def text(value):
    """Shortest text that gives the same number again."""
    return value if isinstance(value, str) else repr(value)


def write(path):
    names = [f.name for f in dataclasses.fields(Case)]
    names.append(names.pop(names.index("note")))
    with open(path, "w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(names)
        table.writerows([text(getattr(case, name)) for name in names] for case in CASES)
