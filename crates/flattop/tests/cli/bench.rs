//! A folder of its own for each test, and the program run in it.

use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

/// A folder with captures in it.
pub(crate) struct Bench {
    folder: TempDir,
}

/// What a run left behind.
#[derive(Debug)]
pub(crate) struct Run {
    pub(crate) status: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Bench {
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    #[allow(clippy::disallowed_methods)] // tests write the files that the program reads
    pub(crate) fn write(&self, name: &str, content: &str) {
        std::fs::write(self.path(name), content).unwrap();
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    #[allow(clippy::disallowed_methods)] // tests read the files that the program wrote
    pub(crate) fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).unwrap()
    }

    /// The program with an empty environment, in this folder.
    pub(crate) fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_flattop"));
        command.env_clear().current_dir(self.folder.path()).args(args).stdin(Stdio::null());
        command
    }

    pub(crate) fn run(&self, args: &[&str]) -> Run {
        let output = self.command(args).output().unwrap();
        Run {
            status: output.status.code().expect("ended by a signal"),
            stdout: String::from_utf8(output.stdout).unwrap(),
            stderr: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// Runs with `--json` and expects the status.
    pub(crate) fn json(&self, args: &[&str], status: i32) -> Value {
        let args: Vec<&str> = args.iter().copied().chain(["--json"]).collect();
        let run = self.run(&args);
        assert_eq!(run.status, status, "{run:?}");
        serde_json::from_str(&run.stdout).unwrap_or_else(|error| panic!("{error}: {run:?}"))
    }
}

/// The number at a JSON pointer.
pub(crate) fn number(json: &Value, pointer: &str) -> f64 {
    json.pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no number at {pointer} in {json:#}"))
}
