//! New entries that are not assessments: remarks, turned trimmers, corrections.

use flattop_register::{Effect, Head, Register, Subject, Thing};

use super::args::{Adjusted, Correct, Note};
use crate::output::print;
use crate::status::Ending;
use crate::workbench::{self, thing};

pub(super) fn note(args: &Note) -> Result<Ending, String> {
    let mut register = args.bench.change()?;
    let subject = match args.about.as_deref().map(|text| thing(&register, text)).transpose()? {
        None => Subject::default(),
        Some(Thing::Pairing(number)) => Subject { pairing: Some(number), ..Subject::default() },
        Some(Thing::Probe(id) | Thing::Ground(id, _)) => Subject::of_probe(&id),
        Some(Thing::Input(id)) => Subject::of_input(&id),
        Some(Thing::Oscilloscope(id)) => Subject { oscilloscope: Some(id), ..Subject::default() },
    };
    let mut act = args.doing.act()?;
    act.note = Some(match act.note {
        Some(more) => format!("{}\n{more}", args.text),
        None => args.text.clone(),
    });
    told(register.log_note(&subject, &act))
}

pub(super) fn adjusted(args: &Adjusted) -> Result<Ending, String> {
    let mut register = args.bench.change()?;
    let pairing = pairing(&register, &args.pairing)?;
    told(register.log_adjustment(pairing, &args.doing.act()?))
}

pub(super) fn correct(args: &Correct) -> Result<Ending, String> {
    let mut register = args.bench.change()?;
    let mut act = args.doing.act()?;
    act.note = Some(match act.note {
        Some(more) => format!("{}\n{more}", args.text),
        None => args.text.clone(),
    });
    let effect = if args.withdraw { Effect::Withdraws } else { Effect::Remarks };
    told(register.log_correction(args.entry, effect, &act))
}

/// A pairing by its number, or the one in force of a probe.
pub(super) fn pairing(register: &Register, text: &str) -> Result<i64, String> {
    match text.parse() {
        Ok(number) => register.pairing(number).map(|p| p.number).map_err(|e| e.to_string()),
        Err(_) => {
            let probe = workbench::probe_id(text)?;
            register.probe(&probe).map_err(|e| e.to_string())?;
            match register.pairing_of(&probe).map_err(|e| e.to_string())? {
                Some(held) => Ok(held.number),
                None => Err(format!(
                    "{probe} is not paired; give the number of a pairing: flattop bench list pairings --all"
                )),
            }
        }
    }
}

fn told(head: Result<Head, flattop_register::RegisterError>) -> Result<Ending, String> {
    let head = head.map_err(|e| e.to_string())?;
    Ok(print(format!("Logged as entry {}.\n", head.seq).as_bytes()))
}
