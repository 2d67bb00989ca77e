//! The `flattop` program: what was typed, run, shown. `main` decides the exit status and nothing else.

mod args;
mod assess;
mod completions;
mod man;
mod output;
mod progress;
mod reach;
mod status;
mod values;

use std::process::ExitCode;

use clap::Parser;

use args::{Cli, Command};

fn main() -> ExitCode {
    let (command, outcome) = match Cli::parse().command {
        Command::Assess(args) => ("assess", assess::run(&args)),
        Command::Reach(args) => ("reach", reach::run(&args)),
        Command::Completions(args) => ("completions", completions::run(&args)),
        Command::Man(args) => ("man", man::run(&args)),
    };
    status::exit_code(command, outcome)
}
