"""Runs one netlist through ngspice and reads what it wrote."""

import pathlib
import re
import subprocess
import tempfile

import numpy as np

SUFFIXES = {"meg": 1e6, "g": 1e9, "k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12, "f": 1e-15, "": 1.0}


def number(text):
    """A SPICE number such as 4.7k or 9meg."""
    match = re.fullmatch(r"([-+]?[0-9.]+(?:e[-+]?[0-9]+)?)(meg|[gkmunpf]?)", text.lower())
    if match is None:
        raise ValueError(f"not a SPICE number: {text}")
    return float(match[1]) * SUFFIXES[match[2]]


def parameters(netlist):
    """Element values of a netlist: all of its `.param name=value` lines."""
    values = {}
    for line in netlist.read_text().splitlines():
        if line.startswith(".param "):
            for assignment in line.split()[1:]:
                name, value = assignment.split("=")
                values[name] = number(value)
    return values


def title(netlist):
    """What the case is: the first line of the netlist."""
    return netlist.read_text().splitlines()[0].removeprefix("* ")


def read_raw(path):
    """The analyses of a binary raw file: {analysis name: {vector name: array}}."""
    data = path.read_bytes()
    analyses, at = {}, 0
    while at < len(data):
        marker = data.index(b"Binary:\n", at)
        head = data[at:marker].decode()
        field = dict(line.split(":", 1) for line in head.splitlines() if ":" in line and not line.startswith("\t"))
        columns, rows = int(field["No. Variables"]), int(field["No. Points"])
        names = re.findall(r"^\t+\d+\t+(\S+)\t", head, flags=re.MULTILINE)
        kind = np.complex128 if "complex" in field["Flags"] else np.float64
        at = marker + len(b"Binary:\n")
        table = np.frombuffer(data, kind, rows * columns, at).reshape(rows, columns)
        at += table.nbytes
        analyses[field["Plotname"].strip()] = dict(zip(names, table.T))
    return analyses


def run(netlist):
    """Runs a netlist in batch mode; returns (time, volts) of the transient and (hertz, gain) of the AC analysis."""
    with tempfile.TemporaryDirectory() as folder:
        raw = pathlib.Path(folder) / "out.raw"
        done = subprocess.run(
            ["ngspice", "-b", "-r", str(raw), netlist.name], cwd=netlist.parent, capture_output=True, text=True
        )
        if done.returncode != 0 or not raw.exists():
            raise SystemExit(f"{netlist}: ngspice failed\n{done.stdout}{done.stderr}")
        analyses = read_raw(raw)
    transient, ac = analyses["Transient Analysis"], analyses["AC Analysis"]
    return (transient["time"], transient["v(in)"]), (ac["frequency"].real, ac["v(in)"])


def version():
    """The ngspice in use, for example ngspice-39."""
    text = subprocess.run(["ngspice", "--version"], capture_output=True, text=True).stdout
    return re.search(r"ngspice-\S+", text)[0]
