//! The `flattop` program: what was typed, run, shown. `main` decides the exit status and nothing else.

mod address;
mod args;
mod assess;
mod bench;
mod budget;
mod characterise;
mod choose;
mod completions;
mod correct;
mod dialogue;
mod found;
mod log;
mod logged;
mod man;
mod output;
mod pair;
mod practise;
mod predict;
mod progress;
mod reach;
mod report;
mod serve;
mod setup;
mod status;
mod trim;
mod values;
mod workbench;

use std::process::ExitCode;

use clap::Parser;

use args::{Cli, Command};

fn main() -> ExitCode {
    let (command, outcome) = match Cli::parse().command {
        Command::Assess(args) => ("assess", assess::run(&args)),
        Command::Reach(args) => ("reach", reach::run(&args)),
        Command::Predict(args) => ("predict", predict::run(&args)),
        Command::Choose(args) => ("choose", choose::run(&args)),
        Command::Characterise(args) => ("characterise", characterise::run(&args)),
        Command::Pair(args) => ("pair", pair::run(&args)),
        Command::Correct(args) => ("correct", correct::run(&args)),
        Command::Trim(args) => ("trim", trim::run(&args)),
        Command::Practise(args) => ("practise", practise::run(&args)),
        Command::Dialogue(args) => ("dialogue", dialogue::run(&args)),
        Command::Bench(args) => ("bench", bench::run(&args)),
        Command::Log(args) => ("log", log::run(&args)),
        Command::Report(args) => ("report", report::run(&args)),
        Command::Serve(args) => ("serve", serve::run(&args)),
        Command::Budget(args) => ("budget", budget::run(&args)),
        Command::Completions(args) => ("completions", completions::run(&args)),
        Command::Man(args) => ("man", man::run(&args)),
    };
    status::exit_code(command, outcome)
}
