-- Version 2: quick answers by pairing, probe and time, and a view for people with a general SQLite tool.
CREATE INDEX log_by_pairing ON log (pairing, seq);
CREATE INDEX log_by_probe ON log (probe, seq);
CREATE INDEX log_by_time ON log (at_utc);
CREATE VIEW log_in_short AS
    SELECT seq, at_utc, author, kind, pairing, probe, oscilloscope || '/' || input AS input, stage, verdict,
        compensation_error, compensation_error_u, note
    FROM log;
