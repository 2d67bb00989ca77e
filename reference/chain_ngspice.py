"""The chain as an ngspice netlist: the cable as ngspice's lossy line (LTRA) or as a ladder of sections, and its runs."""

import dataclasses
import math
import pathlib
import subprocess
import tempfile

import numpy as np
import scipy.interpolate

import chain_exact
import spice


# LTRA now and then gets stuck in ever smaller steps.
GIVE_UP_S = 300
LEAD_S = 1e-9  # before an exponential


@dataclasses.dataclass(frozen=True)
class Line:
    """How the cable is represented."""

    sections: int = 0  # 0: LTRA


def cable(case, line):
    if line.sections == 0:
        if case.cable_conductance_s_per_m:
            raise ValueError(f"{case.case}: ngspice's lossy line takes no R, L, C and G together; use sections")
        return [
            "Ocable tipend 0 cableend 0 lossy",
            f".model lossy ltra r={case.cable_resistance_ohm_per_m!r} l={case.cable_inductance_h_per_m!r} g=0 "
            f"c={case.cable_capacitance_f_per_m!r} len={case.cable_length_m!r}",
        ]
    length = case.cable_length_m / line.sections
    z = [f"{case.cable_resistance_ohm_per_m * length!r}", f"{case.cable_inductance_h_per_m * length!r}"]
    lines = []
    for k in range(line.sections):
        a = "tipend" if k == 0 else f"n{k}"
        b = "cableend" if k == line.sections - 1 else f"n{k + 1}"
        lines += [f"Ll{k} {a} m{k} {z[1]}", f"Rl{k} m{k} {b} {z[0]}"]
    for k in range(line.sections + 1):
        node = "tipend" if k == 0 else "cableend" if k == line.sections else f"n{k}"
        share = length * (0.5 if k in (0, line.sections) else 1.0)
        lines.append(f"Cl{k} {node} 0 {case.cable_capacitance_f_per_m * share!r}")
        if case.cable_conductance_s_per_m:
            lines.append(f"Rg{k} {node} 0 {1 / (case.cable_conductance_s_per_m * share)!r}")
    return lines


def source(case):
    """The independent source's time function."""
    low, high = case.low_v, case.high_v
    if case.signal == "edge":
        return f"pwl(0 {low!r} {case.rise_s!r} {high!r})"
    if case.signal in ("pulse", "trapezoid"):
        width = case.width_s or case.duty / case.frequency_hz
        on = width - case.rise_s / 2 - case.fall_s / 2
        period = 1 / case.frequency_hz if case.frequency_hz else 1.0
        return f"pulse({low!r} {high!r} 0 {case.rise_s!r} {case.fall_s!r} {on!r} {period!r})"
    if case.signal == "exponential":
        # A delay of 0 would be replaced by the printing step.
        back = case.width_s + LEAD_S
        return f"exp({low!r} {high!r} {LEAD_S!r} {case.time_constant_s!r} {back!r} {case.time_constant_s!r})"
    if case.signal == "burst":
        middle, half = (low + high) / 2, (high - low) / 2
        end = case.cycles / case.frequency_hz
        # A sine that a product with a gate ends: a behavioural source, see `circuit`.
        return f"v = {middle!r} + (time < {end!r} ? {half!r}*sin({2 * math.pi * case.frequency_hz!r}*time) : 0)"
    raise ValueError(case.signal)


def circuit(case, line):
    """All of the chain, from source `vs` to the node `out`. Elements of value 0 are left out (or are wires of 0 V)."""
    at = "src"
    if case.signal == "burst":
        lines = [f"Bs src 0 {source(case)}"]
    else:
        lines = [f"Vs src 0 dc {case.low_v!r} ac 1 {source(case)}"]

    def through(name, to, value, kind):
        nonlocal at
        if value:
            lines.append(f"{kind}{name} {at} {to} {value!r}")
            at = to

    def ground(name, value):
        if value:
            lines.append(f"C{name} {at} 0 {value!r}")

    through("node", "node", case.node_resistance_ohm, "R")
    ground("node", case.node_capacitance_f)
    lines.append(f"Vsense {at} contact 0")
    at = "contact"
    through("contact", "c1", case.contact_inductance_h, "L")
    through("damp", "c2", case.contact_resistance_ohm, "R")
    ground("body", case.body_capacitance_f)
    if case.tip_capacitance_f:
        lines.append(f"C1 {at} t1 {case.tip_capacitance_f!r}")
    through("1", "t1", case.tip_resistance_ohm, "R")
    through("tip", "t2", case.series_resistance_ohm, "R")
    lines.append(f"Vtip {at} tipend 0")
    lines += cable(case, line)
    at = "cableend"
    through("box", "b1", case.box_series_resistance_ohm, "R")
    ground("box", case.box_capacitance_f)
    ground("in", case.input_capacitance_f)
    lines.append(f"Rin {at} 0 {case.input_resistance_ohm!r}")
    # Response: buffered sections of 1 kohm.
    real, pairs = (None, []) if not np.isfinite(case.bandwidth_hz) else chain_exact.section(case)
    stages = [(omega, q, "pair") for omega, q in pairs] + ([(real, 0, "pole")] if real else [])
    if case.ac_corner_hz > 0:
        stages.append((2 * np.pi * case.ac_corner_hz, 0, "high"))
    for k, (omega, q, kind) in enumerate(stages):
        lines.append(f"Es{k} s{k} 0 {at} 0 1")
        end = f"e{k}"
        if kind == "pair":
            lines += [f"Ls{k} s{k} r{k} {1e3 / omega!r}", f"Rs{k} r{k} {end} {1e3 / q!r}", f"Cs{k} {end} 0 {1e-3 / omega!r}"]
        elif kind == "pole":
            lines += [f"Rs{k} s{k} {end} 1e3", f"Cs{k} {end} 0 {1e-3 / omega!r}"]
        else:
            lines += [f"Cs{k} s{k} {end} {1e-6 / omega!r}", f"Rs{k} {end} 0 1e6"]
        at = end
    lines.append(f"Eout out 0 {at} 0 1")
    return lines


def analyse(case, line, analysis, options=""):
    """Runs one analysis; returns its vectors."""
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        lines = [f"* {case.case}: {case.note}", *circuit(case, line)]
        lines += [f".options {options}", ".save v(out) v(contact) i(vsense) v(src)", analysis, ".end"]
        (folder / "chain.cir").write_text("\n".join(lines) + "\n")
        command = ["ngspice", "-b", "-r", "out.raw", "chain.cir"]
        try:
            done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=GIVE_UP_S)
        except subprocess.TimeoutExpired as error:
            raise SystemExit(f"{case.case}: ngspice did not end within {GIVE_UP_S} s ({line})") from error
        if done.returncode != 0 or not (folder / "out.raw").exists():
            raise SystemExit(f"{case.case}: ngspice failed\n{done.stdout}{done.stderr}")
        (vectors,) = spice.read_raw(folder / "out.raw").values()
    return vectors


def ac(case, line, per_decade=12):
    """(hertz, gain, impedance), 10 Hz to 1 GHz. The signal does not matter, but has to be of a source that knows AC."""
    case = dataclasses.replace(case, signal="edge", rise_s=1e-9)
    v = analyse(case, line, f".ac dec {per_decade} 10 1g")
    return v["frequency"].real, v["v(out)"], v["v(contact)"] / v["i(vsense)"]


def transient(case, line, end_s, step_s, reltol=1e-4):
    """(time, volts) at the simulator's own steps, each at most step_s."""
    options = f"reltol={reltol!r} abstol=1e-15 vntol=1e-9 chgtol=1e-20 trtol=1 method=trap"
    v = analyse(case, line, f".tran {step_s:.9g} {end_s:.9g} 0 {step_s:.9g}", options)
    return v["time"] - (LEAD_S if case.signal == "exponential" else 0), v["v(out)"]


def at(run, instants):
    """A run's values at given instants (monotone cubic between the simulator's steps); NaN outside it."""
    time, volts = run
    keep = np.concatenate(([True], np.diff(time) > 1e-15))
    # Slopes near zero make it divide by zero on its way to the right answer.
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        return scipy.interpolate.PchipInterpolator(time[keep], volts[keep], extrapolate=False)(instants)
