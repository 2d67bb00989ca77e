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
