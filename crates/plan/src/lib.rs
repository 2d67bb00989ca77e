//! Plans and lists of probes and inputs in TOML: read into the core's types, with errors that point at line and key.
#![deny(clippy::disallowed_methods, clippy::print_stdout, clippy::print_stderr)]
#![forbid(unsafe_code)]
