//! Chores of the repository: `cargo xtask dossier [--check]`, `cargo xtask honesty [RUNS] [KIND…] [--each]`,
//! `cargo xtask tidy`.
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a command-line program")]

mod checks;
mod dossier;
mod honesty;
mod tidy;

use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match words.as_slice() {
        ["dossier"] => dossier::run(false),
        ["dossier", "--check"] => dossier::run(true),
        ["honesty", rest @ ..] => honesty::command(rest),
        ["tidy"] => tidy::run(),
        _ => Err(format!(
            "\"{}\" is no chore; use: dossier [--check], honesty [RUNS] [KIND…] [--each] or tidy",
            words.join(" ")
        )),
    };
    match outcome {
        Ok(message) => {
            println!("{message}");
            ExitCode::SUCCESS
        }
        Err(message) => {
            eprintln!("{message}");
            ExitCode::FAILURE
        }
    }
}
