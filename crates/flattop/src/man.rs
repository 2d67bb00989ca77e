//! `flattop man`: the manual page in roff, on standard output.

use clap::CommandFactory;

use crate::args::Cli;
use crate::status::{Ending, WrongUsage};

/// Print the manual page, of the program or of one command
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  flattop man | man -l -\n  flattop man assess > flattop-assess.1")]
pub(crate) struct Args {
    /// The command whose page is wanted; without it the program's own page
    command: Option<String>,
}

pub(crate) fn run(args: &Args) -> Result<Ending, WrongUsage> {
    let mut program = Cli::command();
    program.build();
    let page = match &args.command {
        None => program,
        Some(name) => match program.find_subcommand(name) {
            Some(command) => command.clone(),

            None => {
                let names: Vec<_> = program.get_subcommands().map(|c| c.get_name().to_owned()).collect();
                let message =
                    format!("'{name}' is no command of flattop; the commands are {}", names.join(", "));
                return Err(WrongUsage { message });
            }
        },
    };
    let mut roff = Vec::new();
    if let Err(error) = clap_mangen::Man::new(page).render(&mut roff) {
        crate::output::complain(&format!("the manual page could not be made: {error}"));
        return Ok(Ending::Unusable);
    }
    Ok(crate::output::print(&roff))
}
