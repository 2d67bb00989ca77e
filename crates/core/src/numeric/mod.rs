//! Small numerical tools that the estimators share; nothing here knows of probes.
