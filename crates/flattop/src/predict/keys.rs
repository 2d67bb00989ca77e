//! One option for each key of a plan, made from the table of keys: `--probe.cable.length 1.2m` is `[probe.cable] length`.

use clap::{Arg, ArgMatches, Command, Error, FromArgMatches};
use flattop_plan::{KEYS, Key};

/// Keys given as options, with their values as typed.
#[derive(Clone, Debug, Default)]
pub(crate) struct KeyOptions {
    pub(crate) given: Vec<(&'static str, String)>,
}

/// Elements of arrays have no options; those of `[output]` have shorter names.
fn has_option(key: &Key) -> bool {
    !key.path.contains('[') && !key.path.starts_with("output.")
}

fn option(key: &'static Key) -> Arg {
    let (table, _) = key.table_and_name();
    let value = if key.kind.symbol().is_empty() {
        "VALUE".to_owned()
    } else {
        format!("VALUE IN {}", key.kind.symbol())
    };
    Arg::new(key.path)
        .long(key.path)
        .value_name(value.to_uppercase().replace(' ', "_"))
        .help(format!("{}, for example {}", key.meaning, key.example.replace('"', "")))
        .help_heading(format!("Plan, {table}"))
        .hide_short_help(true)
        .allow_hyphen_values(true)
}

impl clap::Args for KeyOptions {
    fn augment_args(command: Command) -> Command {
        command.args(KEYS.iter().filter(|key| has_option(key)).map(option))
    }

    fn augment_args_for_update(command: Command) -> Command {
        Self::augment_args(command)
    }
}

impl FromArgMatches for KeyOptions {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, Error> {
        let given = KEYS
            .iter()
            .filter(|key| has_option(key))
            .filter_map(|key| Some((key.path, matches.get_one::<String>(key.path)?.clone())));
        Ok(Self { given: given.collect() })
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}
