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
    match render(page) {
        Ok(roff) => Ok(crate::output::print(&roff)),
        Err(error) => {
            crate::output::complain(&format!("the manual page could not be made: {error}"));
            Ok(Ending::Unusable)
        }
    }
}

/// The page, with the help's closing sections as sections of their own and the options' values in the synopsis.
fn render(command: clap::Command) -> std::io::Result<Vec<u8>> {
    let notes = command.get_after_long_help().or(command.get_after_help()).map(ToString::to_string);
    let has_commands = command.has_subcommands();
    let command = match synopsis(&command) {
        Some(usage) => command.override_usage(usage),
        None => command,
    };
    let page = clap_mangen::Man::new(command).source(concat!("flattop ", env!("CARGO_PKG_VERSION")));
    let mut roff = Vec::new();
    page.render_title(&mut roff)?;
    page.render_name_section(&mut roff)?;
    page.render_synopsis_section(&mut roff)?;
    page.render_description_section(&mut roff)?;
    page.render_options_section(&mut roff)?;
    if has_commands {
        page.render_subcommands_section(&mut roff)?;
    }
    roff.extend(sections(&notes.unwrap_or_default()).bytes());
    page.render_version_section(&mut roff)?;
    // Each section brings the same definitions along; once is enough.
    let roff = String::from_utf8_lossy(&roff).into_owned();
    let definitions: String =
        roff.lines().take_while(|line| !line.starts_with(".TH")).flat_map(|l| [l, "\n"]).collect();
    Ok(format!("{definitions}{}", roff.replace(&definitions, "")).into_bytes())
}

/// Every option with the name of its value; `None` for a command that only has commands.
fn synopsis(command: &clap::Command) -> Option<String> {
    if command.has_subcommands() {
        return None;
    }
    let value = |arg: &clap::Arg| {
        let names = arg.get_value_names().unwrap_or_default().join(" ");
        if arg.get_action().takes_values() { names } else { String::new() }
    };
    let option = |arg: &clap::Arg| {
        let name = arg.get_long()?;
        Some(format!("[--{}]", format!("{name} {}", value(arg)).trim_end()))
    };
    let operand = |arg: &clap::Arg| {
        let more = if arg.get_num_args().is_some_and(|count| count.max_values() > 1) { "..." } else { "" };
        let name = format!("{}{more}", value(arg));
        if arg.is_required_set() { name } else { format!("[{name}]") }
    };
    let options = command.get_arguments().filter(|arg| !arg.is_positional()).filter_map(option);
    let words: Vec<String> = options.chain(command.get_positionals().map(operand)).collect();
    Some(format!("{} {}", command.get_bin_name().unwrap_or_default(), words.join(" ")))
}

/// The closing text of a help in roff: each line that ends with a colon at the margin heads a section.
fn sections(notes: &str) -> String {
    let mut roff = String::new();
    for line in notes.lines() {
        match line.strip_suffix(':').filter(|heading| !heading.starts_with(' ')) {
            Some(heading) => {
                let name = heading.split(" (").next().unwrap_or(heading);
                let close = if roff.is_empty() { "" } else { ".fi\n" };
                roff.push_str(&format!("{close}.SH {}\n.nf\n", name.to_uppercase()));
            }
            None if line.is_empty() => {}
            None => {
                let text = line.strip_prefix("  ").unwrap_or(line).replace('\\', "\\e").replace('-', "\\-");
                // A line that starts with a point or a quote would be a request.
                let guard = if text.starts_with(['.', '\'']) { "\\&" } else { "" };
                roff.push_str(&format!("{guard}{text}\n"));
            }
        }
    }
    if !roff.is_empty() {
        roff.push_str(".fi\n");
    }
    roff
}
