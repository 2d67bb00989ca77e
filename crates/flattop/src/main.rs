//! The `flattop` program: what was typed, run, shown. `main` decides the exit status and nothing else.

mod args;
mod assess;
mod completions;
mod man;
mod output;
mod progress;
mod status;
mod values;

use std::process::ExitCode;

use clap::Parser;

use args::{Cli, Command};

fn main() -> ExitCode {
    let outcome = match Cli::parse().command {
        Command::Assess(args) => assess::run(&args),
        Command::Completions(args) => completions::run(&args),
        Command::Man(args) => man::run(&args),
    };
    status::exit_code(outcome)
}
