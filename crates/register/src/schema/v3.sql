-- Version 3: measured values in the logbook, each with the captures that it rests on.
ALTER TABLE log ADD COLUMN quantity TEXT;
ALTER TABLE log ADD COLUMN value REAL;
ALTER TABLE log ADD COLUMN value_u REAL;
ALTER TABLE log ADD COLUMN upper REAL;
ALTER TABLE log ADD COLUMN upper_u REAL;
-- Digests with one space between.
ALTER TABLE log ADD COLUMN captures TEXT;
CREATE INDEX log_by_kind ON log (kind, seq);
DROP VIEW log_in_short;
CREATE VIEW log_in_short AS
    SELECT seq, at_utc, author, kind, pairing, probe, oscilloscope || '/' || input AS input, stage, verdict,
        compensation_error, compensation_error_u, quantity, value, value_u, note
    FROM log;
