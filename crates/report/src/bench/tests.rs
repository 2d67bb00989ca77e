//! What lists and sentences say of benches made up here.

use flattop_core::assessment::Verdict;
use flattop_core::bench::{Check, Id, InputId, Moment, MoveForecast, Pairing, PairingState, PairingStatus};
use flattop_register::{Forecast, NoForecast, Standing};

use super::{json, text};

const DAY_MS: i64 = 86_400_000;

fn standing(state: PairingState) -> Standing {
    let at = Moment { unix_ms: 20_000 * DAY_MS, offset_minutes: 60 };
    let checked = !matches!(state, PairingState::NeverChecked | PairingState::VoidMoved);
    Standing {
        pairing: Pairing {
            number: 7,
            probe: Id::new("a-probe-with-a-name-of-forty-letters-abc").unwrap(),
            input: InputId::new("an-oscilloscope-of-forty-letters-abcdefg/channel-1").unwrap(),
            tolerance: Some(0.01),
            recheck_interval_days: Some(90),
            made_at: at,
            made_by: None,
            voided: None,
        },
        status: PairingStatus {
            state,
            last_check: checked.then_some(Check {
                at,
                verdict: Verdict::WithinTolerance,
                compensation_error: Some(0.003_5),
                standard_uncertainty: Some(0.000_6),
            }),
            due_at_unix_ms: checked.then_some((20_000 + 90) * DAY_MS),
            adjusted_since: false,
        },
    }
}

#[test]
fn neither_errors_nor_days_are_ever_cut() {
    let all: Vec<Standing> = PairingState::ALL.map(standing).to_vec();
    let table = text::pairing_table(&all, 60);
    assert!(table.contains("e +0.35 ± 0.12 % (95 %), checked 2024-10-04, due 2025-01-02"), "{table}");
    assert!(
        table.contains("a-probe-with-a-name-of-forty-letters-abc on an-oscilloscope-of-forty-letters"),
        "{table}"
    );
    for state in PairingState::ALL {
        assert!(table.contains(&super::state_words(state).to_uppercase()), "{table}");
    }
    assert_eq!(
        text::counts(&all),
        "6 pairings: 1 in tolerance, 1 due, 1 never checked, 1 out of tolerance, 1 out of reach, 1 void (moved)."
    );
}

#[test]
fn a_state_says_what_to_do() {
    let said = |state| text::state_sentence(&standing(state), 60);
    assert_eq!(said(PairingState::Due), "due since 2025-01-02; check it again");
    assert_eq!(said(PairingState::InTolerance), "in tolerance, due on 2025-01-02");
    assert!(said(PairingState::OutOfReach).contains("use another probe or input"));
    let mut turned = standing(PairingState::Due);
    turned.status.adjusted_since = true;
    assert!(text::state_sentence(&turned, 60).contains("turned after the last check"));
}

#[test]
fn a_forecast_says_what_it_rests_on_and_what_is_missing() {
    let expected = MoveForecast {
        compensation_error: -0.036,
        standard_uncertainty: None,
        change_f: 5e-12,
        total_before_f: 133e-12,
        missing: Some("the probe's tip capacitance"),
    };
    let said = text::forecast(&Ok(Forecast { expected, rests_on: None }));
    for part in
        ["e = -3.6 % there", "from the data sheets alone", "+5 pF", "the probe's tip capacitance is missing"]
    {
        assert!(said.contains(part), "{part}: {said}");
    }
    let known = MoveForecast { standard_uncertainty: Some(0.005), missing: None, ..expected };
    let said = text::forecast(&Ok(Forecast { expected: known, rests_on: Some(12) }));
    assert!(said.contains("-3.60 ± 0.98 % (95 %)") && said.contains("entry 12"), "{said}");
    let unknown = NoForecast::Unknown { what: "the ratio", of: "probe \"p\"".into() };
    assert!(text::forecast(&Err(unknown.clone())).contains("the ratio of probe \"p\" is not known"));
    let made: serde_json::Value = serde_json::from_str(&json::made(2, Some(1), Some(&Err(unknown)))).unwrap();
    assert!(made["expected"]["error"].as_str().unwrap().contains("the ratio"));
}
