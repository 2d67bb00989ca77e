"""Captures for values that a data sheet doesn't give, simulated with ngspice, and the truth about each from its element values.

    measured_cases.py OUTPUT_FOLDER

One probe on inputs that differ, at both stops of a trimmer at the tip or in the box, and behind a resistor. The truth is
checked with ngspice itself, not with a formula of the divider: on an input of the size said to be a stop's limit, the AC
analysis is flat; and the current into the tip at high frequency is that of the capacitance said to be there.
"""

import csv
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

import numpy as np

import ngspice_cases
import spice

NETLISTS = pathlib.Path(__file__).parent / "netlists"
SAMPLES = (-250.13e-6, 1e-6, 2500)
RATIO = 10
# file, netlist, what differs from its values, noise in V (rms, of what the screen shows).
STRAIGHT, SERIES = "measured", "measured_series"
CASES = [
    ("input_20p", STRAIGHT, {}, 0.0),
    ("input_13p", STRAIGHT, {"cin": "13p"}, 0.0),
    ("input_27p", STRAIGHT, {"cin": "27p", "r2": "1.01meg"}, 0.0),
    ("input_20p_noise", STRAIGHT, {}, 5e-3),
    ("input_20p_noise_again", STRAIGHT, {}, 5e-3),
    ("input_13p_noise", STRAIGHT, {"cin": "13p"}, 5e-3),
    ("input_13p_turned", STRAIGHT, {"cin": "13p", "c1": "12.2p"}, 0.0),
    ("tip_stop_least", STRAIGHT, {"c1": "10.8p"}, 0.0),
    ("tip_stop_most", STRAIGHT, {"c1": "13.4p"}, 0.0),
    ("base_stop_least", STRAIGHT, {"cbox": "29p"}, 0.0),
    ("base_stop_most", STRAIGHT, {"cbox": "5p"}, 0.0),
    ("series_10m", SERIES, {}, 0.0),
    ("series_5m", SERIES, {"rseries": "4.7meg", "cseries": "10p"}, 0.0),
]
FLAT = 1e-4
SEEN = 1e-3


def with_values(netlist, changes, folder):
    """A copy of a netlist with other values, beside the parts that it includes."""
    text = (NETLISTS / f"{netlist}.cir").read_text()
    for name, value in changes.items():
        text, count = re.subn(rf"(?m)^(\.param .*\b{name}=)\S+", rf"\g<1>{value}", text)
        if count != 1:
            raise SystemExit(f"{netlist}.cir has {count} values {name}")
    shutil.copy(NETLISTS / "probe.lib", folder)
    path = pathlib.Path(folder) / f"{netlist}.cir"
    path.write_text(text)
    return path


def run(netlist, changes):
    """((time, volts), (hertz, gain, tip voltage), element values)."""
    with tempfile.TemporaryDirectory() as folder:
        path = with_values(netlist, changes, folder)
        values = spice.parameters(path)
        raw = pathlib.Path(folder) / "out.raw"
        subprocess.run(["ngspice", "-b", "-r", str(raw), path.name], cwd=folder, capture_output=True, check=True)
        analyses = spice.read_raw(raw)
    transient, ac = analyses["Transient Analysis"], analyses["AC Analysis"]
    return (transient["time"], transient["v(in)"]), (ac["frequency"].real, ac["v(in)"], ac["v(tip)"]), values


def fixed_f(values):
    return ngspice_cases.CABLE_F + values["cbox"]


def limit_f(values):
    """Input capacitance that this setting of the probe balances: R1 C1 = R2 C2."""
    return values["c1"] * values["r1"] / values["r2"] - fixed_f(values)


def seen_f(values):
    """Capacitance at the tip far above the divider's corner: C1 and C2 in series, and the body."""
    c2 = fixed_f(values) + values["cin"]
    return values["c1"] * c2 / (values["c1"] + c2) + values["cbody"]


def check_limit(name, netlist, changes, values):
    on_it = {**changes, "cin": f"{limit_f(values):.12e}"}
    _, (hertz, gain, _), moved = run(netlist, on_it)
    e, _ = ngspice_cases.from_ac(hertz, gain, moved)
    if not abs(e) <= FLAT:
        raise SystemExit(f"{name}: on its limit e is {e:.2e} by the AC analysis, {FLAT:.0e} allowed")


def check_seen(name, hertz, tip, values):
    at = int(np.argmin(np.abs(hertz - 1e5)))
    s = 2j * np.pi * hertz[at]
    above = 50 + 1 / (1 / values["rseries"] + s * values["cseries"])
    found = ((1 - tip[at]) / tip[at] / above).imag / s.imag
    if not abs(found / seen_f(values) - 1) <= SEEN:
        raise SystemExit(f"{name}: {found:.5e} F at the tip by the AC analysis, {seen_f(values):.5e} F expected")


def main(output):
    output.mkdir(parents=True, exist_ok=True)
    random = np.random.default_rng(20)
    rows = []
    for name, netlist, changes, noise_v in CASES:
        (time_s, volts), (hertz, gain, tip), values = run(netlist, changes)
        if netlist == SERIES:
            check_seen(name, hertz, tip, values)
        elif "stop" in name:
            check_limit(name, netlist, changes, values)
        start_s, interval_s, points = SAMPLES
        grid_s = start_s + interval_s * np.arange(points)
        zero_s = ngspice_cases.rising_edge_s(values, time_s[0] - start_s)
        shown = RATIO * ngspice_cases.resample(time_s, volts, zero_s + grid_s)
        shown = shown + noise_v * random.standard_normal(points)
        file = f"{name}.csv.gz"
        ngspice_cases.write_capture(output / file, grid_s, {"volts": shown})
        series = [f"{values[k]:.9g}" if k in values else "" for k in ("rseries", "cseries")]
        rows.append([
            name, file, f"{values['low']:g}", f"{values['high']:g}", f"{noise_v:g}",
            *(f"{values[k]:.9g}" for k in ("r1", "r2", "c1", "cbox", "cin", "cbody")), *series,
            f"{limit_f(values):.9e}", f"{seen_f(values):.9e}",
        ])
    with open(output / "measured.csv", "w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow([
            "case", "file", "low_v", "high_v", "noise_v", "r1_ohm", "r2_ohm", "c1_f", "cbox_f", "cin_f", "cbody_f",
            "rseries_ohm", "cseries_f", "limit_f", "seen_f",
        ])
        table.writerows(rows)


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]))
