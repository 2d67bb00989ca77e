//! `flattop completions`: a completion script for a shell, on standard output.

use clap::CommandFactory;
use clap_complete::Shell;

use crate::args::Cli;
use crate::status::{Ending, WrongUsage};

/// Print a completion script for a shell
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  flattop completions bash > ~/.local/share/bash-completion/completions/flattop"
)]
pub(crate) struct Args {
    /// The shell the script is for
    shell: Shell,
}

pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "flattop", &mut script);
    Ok(crate::output::print(&script))
}
