-- Written by make_v1.py; do not edit.
-- Version 1: what stands on the bench, and the logbook. Quantities in SI units; NULL means not known.
CREATE TABLE oscilloscopes (
    id TEXT NOT NULL PRIMARY KEY,
    label TEXT,
    serial TEXT,
    note TEXT,
    retired INTEGER NOT NULL DEFAULT 0 CHECK (retired IN (0, 1))
) STRICT;

CREATE TABLE inputs (
    oscilloscope TEXT NOT NULL REFERENCES oscilloscopes (id),
    name TEXT NOT NULL,
    label TEXT,
    resistance_ohm REAL,
    resistance_tolerance_ohm REAL,
    capacitance_f REAL,
    capacitance_tolerance_f REAL,
    bandwidth_hz REAL,
    response TEXT,
    rated_voltage_v REAL,
    rated_voltage_kind TEXT,
    note TEXT,
    retired INTEGER NOT NULL DEFAULT 0 CHECK (retired IN (0, 1)),
    PRIMARY KEY (oscilloscope, name)
) STRICT;

CREATE TABLE probes (
    id TEXT NOT NULL PRIMARY KEY,
    label TEXT,
    serial TEXT,
    ratio REAL,
    tip_resistance_ohm REAL,
    tip_resistance_tolerance_ohm REAL,
    tip_capacitance_f REAL,
    tip_capacitance_tolerance_f REAL,
    series_resistance_ohm REAL,
    body_capacitance_f REAL,
    compensation_low_f REAL,
    compensation_high_f REAL,
    adjusted_at TEXT,
    bandwidth_hz REAL,
    voltage_rating TEXT,
    voltage_rating_kind TEXT,
    measurement_category TEXT,
    category_voltage_v REAL,
    note TEXT,
    cable_length_m REAL,
    cable_capacitance_f_per_m REAL,
    cable_inductance_h_per_m REAL,
    cable_resistance_ohm_per_m REAL,
    box_series_resistance_ohm REAL,
    box_capacitance_f REAL,
    retired INTEGER NOT NULL DEFAULT 0 CHECK (retired IN (0, 1))
) STRICT;

CREATE TABLE ground_accessories (
    probe TEXT NOT NULL REFERENCES probes (id) ON DELETE CASCADE,
    name TEXT NOT NULL,
    label TEXT,
    length_m REAL,
    inductance_h REAL,
    PRIMARY KEY (probe, name)
) STRICT;

CREATE TABLE pairings (
    number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    probe TEXT NOT NULL REFERENCES probes (id),
    oscilloscope TEXT NOT NULL,
    input TEXT NOT NULL,
    tolerance REAL,
    recheck_interval_days INTEGER,
    made_at_utc TEXT NOT NULL,
    made_offset_minutes INTEGER NOT NULL,
    made_by TEXT,
    voided_at_utc TEXT,
    voided_offset_minutes INTEGER,
    voided_why TEXT,
    FOREIGN KEY (oscilloscope, input) REFERENCES inputs (oscilloscope, name),
    CHECK ((voided_at_utc IS NULL) = (voided_why IS NULL)),
    CHECK ((voided_at_utc IS NULL) = (voided_offset_minutes IS NULL))
) STRICT;

-- A probe has one pairing in force at a time.
CREATE UNIQUE INDEX pairing_in_force ON pairings (probe) WHERE voided_at_utc IS NULL;

CREATE TABLE captures (
    sha256 TEXT NOT NULL PRIMARY KEY,
    bytes INTEGER NOT NULL,
    encoding TEXT NOT NULL CHECK (encoding IN ('plain', 'zlib')),
    stored BLOB NOT NULL
) STRICT;

CREATE TABLE log (
    seq INTEGER NOT NULL PRIMARY KEY,
    previous TEXT NOT NULL,
    at_utc TEXT NOT NULL,
    offset_minutes INTEGER NOT NULL,
    author TEXT,
    program TEXT NOT NULL,
    kind TEXT NOT NULL,
    pairing INTEGER REFERENCES pairings (number),
    probe TEXT REFERENCES probes (id),
    oscilloscope TEXT REFERENCES oscilloscopes (id),
    input TEXT,
    stage TEXT,
    capture TEXT REFERENCES captures (sha256),
    settings TEXT,
    tolerance REAL,
    verdict TEXT,
    compensation_error REAL,
    compensation_error_u REAL,
    time_constant_s REAL,
    time_constant_u_s REAL,
    correlation REAL,
    tip_resistance_ohm REAL,
    shunt_resistance_ohm REAL,
    resistor_uncertainty REAL,
    method TEXT,
    temperature_c REAL,
    corrects INTEGER REFERENCES log (seq),
    effect TEXT,
    result TEXT,
    note TEXT,
    digest TEXT NOT NULL,
    FOREIGN KEY (oscilloscope, input) REFERENCES inputs (oscilloscope, name)
) STRICT;

CREATE TRIGGER log_is_not_changed BEFORE UPDATE ON log
BEGIN SELECT RAISE(ABORT, 'the logbook is append-only: add a correction instead'); END;
CREATE TRIGGER log_is_not_shortened BEFORE DELETE ON log
BEGIN SELECT RAISE(ABORT, 'the logbook is append-only: add a correction instead'); END;
CREATE TRIGGER log_only_grows BEFORE INSERT ON log
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM log)
    OR NEW.previous IS NOT coalesce((SELECT digest FROM log ORDER BY seq DESC LIMIT 1),
        '0000000000000000000000000000000000000000000000000000000000000000')
BEGIN SELECT RAISE(ABORT, 'a new entry of the logbook follows the last one'); END;
CREATE TRIGGER captures_are_not_changed BEFORE UPDATE ON captures
BEGIN SELECT RAISE(ABORT, 'captures are kept as they are'); END;
CREATE TRIGGER captures_are_not_removed BEFORE DELETE ON captures
BEGIN SELECT RAISE(ABORT, 'captures are kept as they are'); END;
CREATE TRIGGER captures_are_not_replaced BEFORE INSERT ON captures
WHEN EXISTS (SELECT 1 FROM captures WHERE sha256 = NEW.sha256)
BEGIN SELECT RAISE(ABORT, 'captures are kept as they are'); END;
INSERT INTO oscilloscopes (id, label, serial) VALUES ('bench-a', 'Bench A scope, 200 MHz', 'HL-0012');
INSERT INTO inputs (oscilloscope, name, resistance_ohm, resistance_tolerance_ohm, capacitance_f, capacitance_tolerance_f, bandwidth_hz, response, rated_voltage_v, rated_voltage_kind) VALUES ('bench-a', 'ch1', 1000000.0, 20000.0, 1.5e-11, 1e-12, 200000000.0, 'gaussian', 300.0, 'rms');
INSERT INTO inputs (oscilloscope, name, resistance_ohm, resistance_tolerance_ohm, capacitance_f, capacitance_tolerance_f, bandwidth_hz, response, rated_voltage_v, rated_voltage_kind) VALUES ('bench-a', 'ch2', 1000000.0, 20000.0, 1.8e-11, 1e-12, 200000000.0, 'gaussian', 300.0, 'rms');
INSERT INTO probes (id, label, ratio, tip_resistance_ohm, tip_capacitance_f, compensation_low_f, compensation_high_f, adjusted_at, voltage_rating, voltage_rating_kind, measurement_category, category_voltage_v, cable_length_m) VALUES ('probe-07', 'Probe 07', 10.0, 9000000.0, 1.2e-11, 1e-11, 2.5e-11, 'base', '600 V at 0 Hz; 300 V at 10 MHz', 'peak', 'CAT II', 300.0, 1.2);
INSERT INTO ground_accessories (probe, name, length_m, inductance_h) VALUES ('probe-07', 'lead', 0.15, 1.5e-07);
INSERT INTO pairings (number, probe, oscilloscope, input, tolerance, recheck_interval_days, made_at_utc, made_offset_minutes, made_by) VALUES (1, 'probe-07', 'bench-a', 'ch1', 0.01, 90, '2026-01-12T08:30:00.000Z', 60, 'door shop, early shift');
INSERT INTO captures (sha256, bytes, encoding, stored) VALUES ('f7048ae6fc368ef3e2f1e7bf3b156a488a79e1457f45df9d3202c532ae9c0bbe', 1703, 'zlib', X'789c45d43b6a24311845e1bcd7e2011d49adc76a1c0c064f30918dd76fb0ee91a31bf5a1baf8bffafcf7ffedf5e3e5ef3baf5f8ff2f667bc940767ea9976a69f799e1967e6997566e7e766d22121522229d22231522339d2abe9559f2bbd9a5e4dafa657d3abe9d5f46a7a2dbd965ef38fa6d7d26be9b5f45a7a2dbd965e4fafa7d7d3ebbeb9f47a7a3dbd9e5e4fafa7f7fce9f17892add996edd9677664677665f7d991de486fa437d21be98df4467a23bd91de486fa637d39be9cdf4667a33bd99de4c6fa637d35be9adf4567a2bbd95de4a6fa5b7d25be9adf4767a3bbd9dde4e6fa7b7d3dbe9edf4767a3b3d8a075dbce8e249176fba78d4c5ab2e9e75f1ae8b875d94f24bc5f2c572b55c2ed7cb0573c55c329a4134d4abd0b26e100eca413a6807f1a01ee4837e6817b86509a12144848a90113a4248280929d1efb7c3b29a90137a4250280a49a1294485aa9015ba4258280b69a12dc485ba9017fa4260280c89a1314486ca90193a4368280da9a135c486da901b7a4370280ec9a1394487ea901dba4378280fe9a13dc487fa901ffa4380281009a2c16f650a5438');
INSERT INTO log (seq, previous, at_utc, offset_minutes, author, program, kind, pairing, probe, oscilloscope, input, digest) VALUES (1, '0000000000000000000000000000000000000000000000000000000000000000', '2026-01-12T08:30:00.000Z', 60, 'door shop, early shift', 'flattop 0.1.0', 'pairing-made', 1, 'probe-07', 'bench-a', 'ch1', 'c2675cf89dfb08746eb63e25fb02dac9392e3cb1bd5afa26f7d467db3de0ab10');
INSERT INTO log (seq, previous, at_utc, offset_minutes, author, program, kind, pairing, probe, oscilloscope, input, stage, capture, settings, tolerance, verdict, compensation_error, compensation_error_u, time_constant_s, time_constant_u_s, correlation, tip_resistance_ohm, shunt_resistance_ohm, resistor_uncertainty, method, temperature_c, result, digest) VALUES (2, 'c2675cf89dfb08746eb63e25fb02dac9392e3cb1bd5afa26f7d467db3de0ab10', '2026-01-12T08:31:00.000Z', 60, 'door shop, early shift', 'flattop 0.1.0', 'assessment', 1, 'probe-07', 'bench-a', 'ch1', 'before-adjustment', 'f7048ae6fc368ef3e2f1e7bf3b156a488a79e1457f45df9d3202c532ae9c0bbe', '{"divider":"9M:1M"}', 0.01, 'undercompensated', -0.0731, 0.0004, 8.1e-05, 3e-07, -0.25, 9000000.0, 1000000.0, 0.005, 'square-wave', 21.5, '{"verdict":"undercompensated"}', '7a63170b4b833ac26e88313587d28ac3a3eebab0e9ce0224484a67dbf5a333fe');
INSERT INTO log (seq, previous, at_utc, offset_minutes, author, program, kind, pairing, probe, oscilloscope, input, note, digest) VALUES (3, '7a63170b4b833ac26e88313587d28ac3a3eebab0e9ce0224484a67dbf5a333fe', '2026-01-12T08:33:00.000Z', 60, 'door shop, early shift', 'flattop 0.1.0', 'adjustment', 1, 'probe-07', 'bench-a', 'ch1', 'eighth of a turn, µ-metal screwdriver', '1b99166c1f7c677d8e6d728fecfe1f9705fd194100d83bd33d1bdc979714b78f');
INSERT INTO log (seq, previous, at_utc, offset_minutes, author, program, kind, pairing, probe, oscilloscope, input, stage, capture, settings, tolerance, verdict, compensation_error, compensation_error_u, time_constant_s, time_constant_u_s, correlation, tip_resistance_ohm, shunt_resistance_ohm, resistor_uncertainty, method, temperature_c, result, digest) VALUES (4, '1b99166c1f7c677d8e6d728fecfe1f9705fd194100d83bd33d1bdc979714b78f', '2026-01-12T08:34:00.000Z', 60, 'door shop, early shift', 'flattop 0.1.0', 'assessment', 1, 'probe-07', 'bench-a', 'ch1', 'after-adjustment', 'f7048ae6fc368ef3e2f1e7bf3b156a488a79e1457f45df9d3202c532ae9c0bbe', '{"divider":"9M:1M"}', 0.01, 'within-tolerance', 0.0011, 0.0004, 7.9e-05, 3e-07, -0.25, 9000000.0, 1000000.0, 0.005, 'square-wave', 21.5, '{"verdict":"within-tolerance"}', 'de5a3ff09a72f8a9f36364540303ff21dc034d5c3fdfe43981f205f924b4d619');
INSERT INTO log (seq, previous, at_utc, offset_minutes, author, program, kind, pairing, probe, oscilloscope, input, corrects, effect, note, digest) VALUES (5, 'de5a3ff09a72f8a9f36364540303ff21dc034d5c3fdfe43981f205f924b4d619', '2026-01-12T09:00:00.123Z', 60, 'door shop, early shift', 'flattop 0.1.0', 'correction', 1, 'probe-07', 'bench-a', 'ch1', 2, 'remarks', 'the lead was the long one
(second line)', '279bbddab48315af6e509bd840bd64f6cb801c8e6d95f3ad17fb950e55691f86');
PRAGMA application_id = 1179407426;
PRAGMA user_version = 1;
