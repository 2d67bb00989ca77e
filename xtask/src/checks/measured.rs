//! What a data sheet doesn't say, from captures simulated as circuits: read, assessed, and worked out by the core.

use super::captures::{RESISTOR_UNCERTAINTY, TENFOLD, Table, assessed, number, two_figures};
use super::{Row, Tag, rows_of};
use flattop_core::assessment::{AdjustedAt, Estimate};
use flattop_core::bench::measured::{
    KnownInput, Reading, SeriesLook, Shunts, Stops, Substitution, TipLooks, compensation_range,
    input_capacitance, tip_capacitance,
};
use std::collections::BTreeMap;

const TRUTH: &str = include_str!("../../../testdata/ngspice/measured.csv");
const SOURCE: &str = "circuit simulator ngspice 39, `reference/measured_cases.py`; element values";
/// Never more than this, whatever the uncertainty.
const HARD_LIMIT_F: f64 = 0.05e-12;
/// The same behind a resistor, where e is large and half a period short: the estimator allows for a sag of the source that it cannot
/// exclude there, which is most of u.
const HARD_LIMIT_BEHIND_A_RESISTOR_F: f64 = 0.1e-12;

/// Figures of the table by case and column.
struct Cases(BTreeMap<(String, &'static str), f64>);

const COLUMNS: [&str; 9] =
    ["r1_ohm", "r2_ohm", "c1_f", "cbox_f", "cin_f", "cbody_f", "rseries_ohm", "limit_f", "seen_f"];

impl Cases {
    fn read() -> Self {
        let mut cells = BTreeMap::new();
        Table::new(TRUTH).each(|field| {
            for column in COLUMNS {
                cells.insert((field("case").to_owned(), column), number(field(column)));
            }
        });
        Self(cells)
    }

    fn value(&self, case: &str, column: &'static str) -> f64 {
        self.0.get(&(case.to_owned(), column)).copied().unwrap_or(f64::NAN)
    }

    fn exactly(&self, case: &str, column: &'static str) -> Estimate {
        Estimate { value: self.value(case, column), standard_uncertainty: 0.0 }
    }
}

/// e and τp of a case's capture, as the estimator of square waves finds them.
fn readings(cases: &[&str]) -> Vec<Reading> {
    cases
        .iter()
        .filter_map(|case| assessed(&format!("testdata/ngspice/{case}.csv.gz"), TENFOLD)?.compensation)
        .map(|c| Reading::from(&c))
        .collect()
}

const NOTHING: Estimate = Estimate { value: f64::NAN, standard_uncertainty: f64::NAN };

fn row(id: &str, what: &str, expected_f: f64, got: Option<Estimate>, limit_f: f64) -> Vec<Row> {
    let Estimate { value, standard_uncertainty: u } = got.unwrap_or(NOTHING);
    let tolerance_f = two_figures((3.0 * u).min(limit_f));
    let pico = 1e12;
    rows_of(SOURCE, Tag::Derived, &[(id, what, pico * expected_f, pico * value, pico * tolerance_f, "pF")])
}

pub(crate) fn rows() -> Vec<Row> {
    let cases = Cases::read();
    let mut rows = inputs(&cases);
    rows.extend(stated(&cases));
    rows.extend(ranges(&cases));
    rows.extend(tips(&cases));
    rows
}

fn substitution<'a>(
    cases: &Cases,
    unknown_case: &str,
    known: &'a [Reading],
    unknown: &'a [Reading],
) -> Substitution<'a> {
    Substitution {
        tip_resistance_ohm: cases.exactly("input_20p", "r1_ohm"),
        shunts: Shunts::OfEachInput {
            known_ohm: cases.exactly("input_20p", "r2_ohm"),
            unknown_ohm: cases.exactly(unknown_case, "r2_ohm"),
        },
        flatness: 0.0,
        adjusted_at: Some(AdjustedAt::Tip),
        known: KnownInput { capacitance_f: cases.exactly("input_20p", "cin_f"), readings: known },
        unknown,
    }
}

fn inputs(cases: &Cases) -> Vec<Row> {
    let mut rows = Vec::new();
    let noisy = ["input_20p_noise", "input_20p_noise_again"];
    for (id, known, unknown, words, limit_f) in [
        ("Q-01", &["input_20p"][..], "input_13p", "input of 13 pF after one of 20 pF", HARD_LIMIT_F),
        (
            "Q-02",
            &["input_20p"][..],
            "input_27p",
            "input of 27 pF and 1.01 MΩ after one of 20 pF",
            HARD_LIMIT_F,
        ),
        (
            "Q-03",
            &noisy[..],
            "input_13p_noise",
            "the same 13 pF in noise, the known input captured twice",
            0.5e-12,
        ),
    ] {
        let (on_known, on_unknown) = (readings(known), readings(&[unknown]));
        let found = input_capacitance(&substitution(cases, unknown, &on_known, &on_unknown)).ok();
        let got = found.as_ref().and_then(|f| f.capacitance_f);
        rows.extend(row(
            id,
            &format!("{words}: its capacitance"),
            cases.value(unknown, "cin_f"),
            got,
            limit_f,
        ));
        let tip = found.map(|f| f.tip_capacitance_f);
        rows.extend(row(id, &format!("{words}: C1"), cases.value(unknown, "c1_f"), tip, limit_f));
    }
    let (on_known, turned) = (readings(&["input_20p"]), readings(&["input_13p_turned"]));
    let found = input_capacitance(&substitution(cases, "input_13p_turned", &on_known, &turned)).ok();
    let difference = found.as_ref().map_or(f64::NAN, |f| 100.0 * f.agreement.difference.value);
    let withheld = found.is_some_and(|f| f.capacitance_f.is_none());
    let of = |case| cases.value(case, "c1_f");
    let expected = 100.0 * (of("input_13p_turned") / of("input_20p") - 1.0);
    rows.extend(rows_of(
        SOURCE,
        Tag::Derived,
        &[
            ("Q-04", "trimmer turned in between: change of C1", expected, difference, 0.03, "%"),
            ("Q-04", "trimmer turned in between: answer withheld", 1.0, f64::from(withheld), 1e-9, "1"),
        ],
    ));
    rows
}

/// With tolerances as a bench knows them: the uncertainty, beside the one worked by hand.
fn stated(cases: &Cases) -> Vec<Row> {
    let (on_known, on_unknown) = (readings(&["input_20p"]), readings(&["input_13p"]));
    let about = |value: f64, share: f64| Estimate { value, standard_uncertainty: share * value };
    let request = Substitution {
        tip_resistance_ohm: about(9e6, RESISTOR_UNCERTAINTY),
        shunts: Shunts::OfEachInput {
            known_ohm: about(1e6, RESISTOR_UNCERTAINTY),
            unknown_ohm: about(1e6, RESISTOR_UNCERTAINTY),
        },
        ..substitution(cases, "input_13p", &on_known, &on_unknown)
    };
    let found = input_capacitance(&request).ok().and_then(|f| f.capacitance_f).unwrap_or(NOTHING);
    // S = τ(1/R1 + 1/R2): nine tenths of each input's total go with its own R2, one tenth of the difference with R1.
    let total =
        |case| cases.value(case, "c1_f") + 72e-12 + cases.value(case, "cbox_f") + cases.value(case, "cin_f");
    let (known, unknown) = (total("input_20p"), total("input_13p"));
    let expected = RESISTOR_UNCERTAINTY * (0.9 * known.hypot(unknown)).hypot(0.1 * (known - unknown));
    rows_of(
        "law of propagation worked by hand (JCGM 100:2008, 5.1.2)",
        Tag::Derived,
        &[(
            "Q-05",
            "13 pF after 20 pF, all resistors ± 1 %: standard uncertainty",
            1e12 * expected,
            1e12 * found.standard_uncertainty,
            2e-3,
            "pF",
        )],
    )
}

fn ranges(cases: &Cases) -> Vec<Row> {
    let mut rows = Vec::new();
    for (id, place, adjusted_at, words) in
        [("Q-10", "tip", AdjustedAt::Tip, "at the tip"), ("Q-11", "base", AdjustedAt::Base, "in the box")]
    {
        let names = [format!("{place}_stop_least"), format!("{place}_stop_most")];
        let at = names.each_ref().map(|name| readings(&[name]));
        let found = compensation_range(&Stops {
            tip_resistance_ohm: cases.exactly(&names[0], "r1_ohm"),
            shunt_resistance_ohm: cases.exactly(&names[0], "r2_ohm"),
            input_capacitance_f: cases.exactly(&names[0], "cin_f"),
            flatness: 0.0,
            adjusted_at,
            stops: [&at[0], &at[1]],
        });
        let found = found.ok();
        let limits = found.as_ref().and_then(|f| f.limits_f);
        for (k, (name, which)) in names.iter().zip(["least", "most"]).enumerate() {
            let what = format!("trimmer {words}: {which} input capacitance that it balances");
            rows.extend(row(id, &what, cases.value(name, "limit_f"), limits.map(|l| l[k]), HARD_LIMIT_F));
        }
    }
    rows
}

fn tips(cases: &Cases) -> Vec<Row> {
    let mut rows = Vec::new();
    let straight = readings(&["input_20p"]);
    for (id, name) in [("Q-20", "series_10m"), ("Q-21", "series_5m")] {
        let through = readings(&[name]);
        let resistance_ohm = cases.value(name, "rseries_ohm") + 50.0;
        let found = tip_capacitance(&TipLooks {
            tip_resistance_ohm: cases.exactly(name, "r1_ohm"),
            shunt_resistance_ohm: cases.exactly(name, "r2_ohm"),
            flatness: 0.0,
            readings: &straight,
            series: Some(SeriesLook {
                resistance_ohm: Estimate { value: resistance_ohm, standard_uncertainty: 0.0 },
                readings: &through,
            }),
        })
        .ok();
        let (whole_f, body_f) = (cases.value(name, "seen_f"), cases.value(name, "cbody_f"));
        let words = format!("behind {:.1} MΩ", 1e-6 * cases.value(name, "rseries_ohm"));
        let [whole, body, divider] = found.map_or([None; 3], |f| [f.whole_f, f.body_f, Some(f.divider_f)]);
        rows.extend(row(
            id,
            &format!("{words}: capacitance at the tip"),
            whole_f,
            whole,
            HARD_LIMIT_BEHIND_A_RESISTOR_F,
        ));
        rows.extend(row(id, &format!("{words}: body's share"), body_f, body, HARD_LIMIT_BEHIND_A_RESISTOR_F));
        if id == "Q-20" {
            rows.extend(row("Q-20", "C1 and C2 in series", whole_f - body_f, divider, HARD_LIMIT_F));
        }
    }
    rows
}
