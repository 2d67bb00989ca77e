#!/usr/bin/env python3
"""Writes v1.sql: a bench of version 1 as SQL text, with digests made after LOGBOOK.md and independently of the Rust code.

Usage: python3 make_v1.py   (standard library only; writes beside itself; the tables come from ../src/schema/v1.sql)
"""
import hashlib
import pathlib
import struct
import zlib

HERE = pathlib.Path(__file__).resolve().parent
COLUMNS = """seq previous at_utc offset_minutes author program kind pairing probe oscilloscope input stage capture settings
tolerance verdict compensation_error compensation_error_u time_constant_s time_constant_u_s correlation tip_resistance_ohm
shunt_resistance_ohm resistor_uncertainty method temperature_c corrects effect result note""".split()


def digest(entry):
    data = b"flattop-log-1\n"
    for name in COLUMNS:
        value = entry.get(name)
        if value is None:
            continue
        if isinstance(value, int):
            kind, raw = "integer", str(value).encode()
        elif isinstance(value, float):
            kind, raw = "real", struct.pack(">d", value).hex().encode()
        else:
            kind, raw = "text", value.encode()
        data += f"{name} {kind} {len(raw)}\n".encode() + raw + b"\n"
    return hashlib.sha256(data).hexdigest()


def literal(value):
    if value is None:
        return "NULL"
    if isinstance(value, bytes):
        return f"X'{value.hex()}'"
    if isinstance(value, str):
        return "'" + value.replace("'", "''") + "'"
    return repr(value)


def row(table, values):
    return f"INSERT INTO {table} ({', '.join(values)}) VALUES ({', '.join(literal(v) for v in values.values())});"


capture = "time_s,ch1_v\n" + "".join(f"{i}e-6,{(i // 50) % 2}\n" for i in range(200))
capture = capture.encode()
capture_digest = hashlib.sha256(capture).hexdigest()

sql = ["-- Written by make_v1.py; do not edit.", (HERE / "../src/schema/v1.sql").read_text().rstrip()]
sql.append(row("oscilloscopes", {"id": "bench-a", "label": "Bench A scope, 200 MHz", "serial": "HL-0012"}))
for name, c in (("ch1", 15e-12), ("ch2", 18e-12)):
    sql.append(row("inputs", {"oscilloscope": "bench-a", "name": name, "resistance_ohm": 1e6, "resistance_tolerance_ohm": 2e4,
                              "capacitance_f": c, "capacitance_tolerance_f": 1e-12, "bandwidth_hz": 200e6, "response": "gaussian",
                              "rated_voltage_v": 300.0, "rated_voltage_kind": "rms"}))
sql.append(row("probes", {"id": "probe-07", "label": "Probe 07", "ratio": 10.0, "tip_resistance_ohm": 9e6,
                          "tip_capacitance_f": 12e-12, "compensation_low_f": 10e-12, "compensation_high_f": 25e-12,
                          "adjusted_at": "base", "voltage_rating": "600 V at 0 Hz; 300 V at 10 MHz", "voltage_rating_kind": "peak",
                          "measurement_category": "CAT II", "category_voltage_v": 300.0, "cable_length_m": 1.2}))
sql.append(row("ground_accessories", {"probe": "probe-07", "name": "lead", "length_m": 0.15, "inductance_h": 150e-9}))
sql.append(row("pairings", {"number": 1, "probe": "probe-07", "oscilloscope": "bench-a", "input": "ch1", "tolerance": 0.01,
                            "recheck_interval_days": 90, "made_at_utc": "2026-01-12T08:30:00.000Z", "made_offset_minutes": 60,
                            "made_by": "door shop, early shift"}))
sql.append(row("captures", {"sha256": capture_digest, "bytes": len(capture), "encoding": "zlib", "stored": zlib.compress(capture)}))

about = {"pairing": 1, "probe": "probe-07", "oscilloscope": "bench-a", "input": "ch1"}
common = {"offset_minutes": 60, "author": "door shop, early shift", "program": "flattop 0.1.0"}
figures = {"tolerance": 0.01, "time_constant_u_s": 3e-7, "correlation": -0.25, "tip_resistance_ohm": 9e6,
           "shunt_resistance_ohm": 1e6, "resistor_uncertainty": 0.005, "method": "square-wave", "temperature_c": 21.5,
           "capture": capture_digest, "settings": '{"divider":"9M:1M"}', "compensation_error_u": 0.0004}
entries = [
    {"at_utc": "2026-01-12T08:30:00.000Z", "kind": "pairing-made", **about},
    {"at_utc": "2026-01-12T08:31:00.000Z", "kind": "assessment", **about, **figures, "stage": "before-adjustment",
     "verdict": "undercompensated", "compensation_error": -0.0731, "time_constant_s": 8.1e-5,
     "result": '{"verdict":"undercompensated"}'},
    {"at_utc": "2026-01-12T08:33:00.000Z", "kind": "adjustment", **about, "note": "eighth of a turn, µ-metal screwdriver"},
    {"at_utc": "2026-01-12T08:34:00.000Z", "kind": "assessment", **about, **figures, "stage": "after-adjustment",
     "verdict": "within-tolerance", "compensation_error": 0.0011, "time_constant_s": 7.9e-5,
     "result": '{"verdict":"within-tolerance"}'},
    {"at_utc": "2026-01-12T09:00:00.123Z", "kind": "correction", **about, "corrects": 2, "effect": "remarks",
     "note": "the lead was the long one\n(second line)"},
]
previous = "0" * 64
for number, entry in enumerate(entries, 1):
    entry = {"seq": number, "previous": previous, **common, **entry}
    previous = entry["digest"] = digest(entry)
    sql.append(row("log", {name: entry[name] for name in COLUMNS + ["digest"] if name in entry}))
sql.append(f"PRAGMA application_id = {0x464C5442};\nPRAGMA user_version = 1;")
(HERE / "v1.sql").write_text("\n".join(sql) + "\n")
print(previous)
