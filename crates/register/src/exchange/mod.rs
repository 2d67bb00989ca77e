//! A bench as text: TOML that holds everything but the logbook, and CSV lists for spreadsheets.

mod csv_in;
mod csv_out;
mod toml_in;
mod toml_out;

use thiserror::Error;

use crate::devices::{self, Retired};
use crate::error::RegisterError;
use crate::logbook::{Act, Digest, Event, Filter, Head, Subject, append};
use crate::pairings::{self, Voids};
use crate::store::Register;
use toml_in::Bench;

/// First line of a bench in TOML.
pub(crate) const FORMAT: &str = "flattop-bench-1";

/// Why a text was not imported. Nothing of it was.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ImportError {
    /// No TOML.
    #[error(
        "line {line}: this is not TOML ({problem}): correct the line and import again; nothing was imported"
    )]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What the parser says.
        problem: String,
    },
    /// A key or its value.
    #[error("line {line}, {key}: {problem}; nothing was imported")]
    At {
        /// Line, from 1.
        line: usize,
        /// The key with its tables, for example "probe.tip_capacitance".
        key: String,
        /// What is wrong, and what to do.
        problem: String,
    },
}

/// What an import added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Imported {
    /// Oscilloscopes added.
    pub oscilloscopes: usize,
    /// Inputs added.
    pub inputs: usize,
    /// Probes added.
    pub probes: usize,
    /// Pairings added: the number in the text, if there was one, and the number on this bench.
    pub pairings: Vec<(Option<i64>, i64)>,
    /// The entry of the logbook that says so.
    pub entry: Head,
}

impl Register {
    /// The bench as TOML: all oscilloscopes, inputs, probes and pairings, void and retired ones too, without the logbook.
    /// Imported into an empty bench it gives the same text again.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn export_toml(&self) -> Result<String, RegisterError> {
        let tx = self.read()?;
        let oscilloscopes = devices::list_oscilloscopes(&tx, Retired::Shown)?;
        let probes = devices::list_probes(&tx, Retired::Shown)?;
        let pairings = pairings::list(&tx, Voids::Shown)?;
        Ok(toml_out::write(&oscilloscopes, &probes, &pairings))
    }

    /// Adds everything in a TOML text, or nothing. Ids that are taken are refused; a pairing whose number is taken gets
    /// another one. An entry of the logbook says what was imported.
    ///
    /// # Errors
    /// [`ImportError`] with line, key and remedy.
    pub fn import_toml(&mut self, text: &str, act: &Act) -> Result<Imported, RegisterError> {
        let bench = toml_in::read(text)?;
        self.add_all(bench, text, act)
    }

    /// Adds everything in a CSV list of probes or of inputs, or nothing; the head line tells which of the two it is. Inputs go to
    /// their oscilloscopes, which are made where there are none. An entry of the logbook says what was imported.
    ///
    /// # Errors
    /// [`ImportError`] with line, column and remedy.
    pub fn import_csv(&mut self, text: &str, act: &Act) -> Result<Imported, RegisterError> {
        let mut bench = Bench { oscilloscopes_may_be_there: true, ..Bench::default() };
        match csv_in::read(text)? {
            csv_in::List::Probes(probes) => bench.probes = probes,
            csv_in::List::Inputs(oscilloscopes) => bench.oscilloscopes = oscilloscopes,
        }
        self.add_all(bench, text, act)
    }

    fn add_all(&mut self, bench: Bench, text: &str, act: &Act) -> Result<Imported, RegisterError> {
        act.check()?;
        let tx = self.write()?;
        let mut inputs = 0;
        for (line, oscilloscope) in &bench.oscilloscopes {
            let is_new = !bench.oscilloscopes_may_be_there
                || devices::get_oscilloscope(&tx, &oscilloscope.id).is_err();
            let added = if is_new {
                devices::insert_oscilloscope(&tx, oscilloscope)
            } else {
                oscilloscope.inputs.iter().try_for_each(|i| devices::insert_input(&tx, &oscilloscope.id, i))
            };
            added.map_err(|e| at(*line, "oscilloscope", e))?;
            inputs += oscilloscope.inputs.len();
        }
        for (line, probe) in &bench.probes {
            devices::insert_probe(&tx, probe).map_err(|e| at(*line, "probe", e))?;
        }
        let mut numbers = Vec::new();
        for (line, wanted, pairing) in &bench.pairings {
            let wrong = |e| at(*line, "pairing", e);
            let probe = devices::get_probe(&tx, &pairing.probe).map_err(wrong)?;
            let input = devices::get_input(&tx, &pairing.input).map_err(wrong)?;
            if pairing.voided.is_none() {
                devices::in_use("probe", &pairing.probe, probe.retired).map_err(wrong)?;
                devices::in_use("input", &pairing.input, input.retired).map_err(wrong)?;
                if let Some(held) = pairings::in_force(&tx, &pairing.probe)? {
                    return Err(wrong(RegisterError::Paired {
                        probe: held.probe.to_string(),
                        input: held.input.to_string(),
                        number: held.number,
                    }));
                }
            }
            let number = match wanted {
                Some(number) if pairings::is_taken(&tx, *number)? => None,
                number => *number,
            };
            numbers.push((*wanted, pairings::insert(&tx, pairing, number).map_err(wrong)?));
        }
        let mut note = format!(
            "imported {} oscilloscopes, {inputs} inputs, {} probes and {} pairings from a text with the SHA-256 {}",
            bench.oscilloscopes.len(),
            bench.probes.len(),
            numbers.len(),
            Digest::of(text.as_bytes()),
        );
        if let Some(more) = &act.note {
            note = format!("{note}\n{more}");
        }
        let act = Act { note: Some(note), ..act.clone() };
        act.check()?;
        let entry = append(&tx, &act, &Subject::default(), &Event::Note)?;
        tx.commit()?;
        Ok(Imported {
            oscilloscopes: bench.oscilloscopes.len(),
            inputs,
            probes: bench.probes.len(),
            pairings: numbers,
            entry,
        })
    }

    /// All probes as CSV (RFC 4180, UTF-8), one column for each field, quantities as people write them.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn probes_csv(&self, retired: Retired) -> Result<String, RegisterError> {
        Ok(csv_out::probes(&self.probes(retired)?))
    }

    /// All inputs as CSV, as [`Register::probes_csv`].
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn inputs_csv(&self, retired: Retired) -> Result<String, RegisterError> {
        Ok(csv_out::inputs(&self.oscilloscopes(retired)?))
    }

    /// The entries that `filter` lets through as CSV; quantities are plain numbers in SI units, named in the head line.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn log_csv(&self, filter: &Filter) -> Result<String, RegisterError> {
        Ok(csv_out::log(&self.entries(filter)?))
    }
}

/// The probes in a CSV list, in its order; nothing is stored.
///
/// # Errors
/// The first thing that is wrong, with line, column and remedy.
pub fn probes_from_csv(text: &str) -> Result<Vec<flattop_core::bench::Probe>, ImportError> {
    Ok(csv_in::probes(text)?.into_iter().map(|(_, probe)| probe).collect())
}

/// The probes in a bench written as TOML, in its order; nothing is stored.
///
/// # Errors
/// The first thing that is wrong, with line, key and remedy.
pub fn probes_from_toml(text: &str) -> Result<Vec<flattop_core::bench::Probe>, ImportError> {
    Ok(toml_in::read(text)?.probes.into_iter().map(|(_, probe)| probe).collect())
}

/// Adds line and key to what was wrong with the text's content; what is wrong with the file stays as it is.
fn at(line: usize, key: &str, error: RegisterError) -> RegisterError {
    match error {
        RegisterError::Taken { .. }
        | RegisterError::Retired { .. }
        | RegisterError::Paired { .. }
        | RegisterError::NotFound { .. }
        | RegisterError::Entity(_) => {
            RegisterError::Import(ImportError::At { line, key: key.to_owned(), problem: error.to_string() })
        }
        other => other,
    }
}
