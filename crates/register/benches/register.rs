//! How long a large bench takes: `cargo bench -p flattop-register`. Prints one line for each question.

use std::time::Instant;

use flattop_core::assessment::{Compensation, Estimate, Verdict};
use flattop_core::bench::{Id, InputId, Moment, Stage};
use flattop_core::divider::Divider;
use flattop_register::{
    Act, AssessmentRecord, Filter, OpenMode, Register, Retired, Terms, Voids, set_probe_field,
    unknown_ground, unknown_input, unknown_oscilloscope, unknown_probe,
};

const PROBES: i64 = 1_000;
const ENTRIES: i64 = 10_000;
const START_MS: i64 = 1_790_000_000_000;

fn act(number: i64) -> Act {
    let at = Moment { unix_ms: START_MS + number * 60_000, offset_minutes: 60 };
    Act { at, by: Some("door shop".to_owned()), program: "flattop 0.1.0".to_owned(), note: None }
}

#[allow(clippy::disallowed_methods, clippy::print_stdout)] // a bench looks at the clock and says what it saw
fn timed<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let result = work();
    println!("{what}: {:.1} ms", start.elapsed().as_secs_f64() * 1e3);
    result
}

fn main() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("bench.sqlite");
    let mut register = Register::open(&path, OpenMode::Create).expect("a new bench");
    let mut scope = unknown_oscilloscope(Id::new("bench-a").expect("an id"));
    scope.inputs.push(unknown_input(Id::new("ch1").expect("an id")));
    register.add_oscilloscope(&scope).expect("room");
    let input = InputId::new("bench-a/ch1").expect("an id");
    timed("add and pair 1,000 probes, each call synchronised to the disk", || {
        for number in 0..PROBES {
            let mut probe = unknown_probe(Id::new(&format!("probe-{number:04}")).expect("an id"));
            for (key, text) in [
                ("label", "Probe with a label"),
                ("ratio", "10"),
                ("tip_resistance", "9 MΩ ± 1 %"),
                ("tip_capacitance", "12 pF ± 1 pF"),
                ("compensation_range", "10 pF to 25 pF"),
                ("voltage_rating", "600 V at 0 Hz; 300 V at 10 MHz; 50 V at 100 MHz"),
                ("cable.length", "1.2 m"),
            ] {
                set_probe_field(&mut probe, key, Some(text)).expect("a value");
            }
            probe.ground_accessories.push(unknown_ground(Id::new("lead").expect("an id")));
            register.add_probe(&probe).expect("room");
            let terms = Terms { tolerance: Some(0.01), recheck_interval_days: Some(90) };
            register.pair(&probe.id, &input, terms, &act(number)).expect("a pairing");
        }
    });
    let record = AssessmentRecord {
        stage: Stage::Check,
        captures: Vec::new(),
        settings_json: Some("{\"divider\":\"9M:1M\"}".to_owned()),
        tolerance: 0.01,
        verdict: Verdict::WithinTolerance,
        compensation: Some(Compensation {
            error: Estimate { value: 0.001, standard_uncertainty: 4e-4 },
            time_constant_s: Estimate { value: 9e-5, standard_uncertainty: 3e-7 },
            correlation: -0.25,
            divider: Divider { tip_resistance_ohm: 9e6, shunt_resistance_ohm: 1e6 },
            resistor_uncertainty: 0.005,
        }),
        method: "square-wave".to_owned(),
        temperature_c: Some(21.5),
        // About as long as a whole result is.
        result_json: Some(format!("{{\"x\":\"{}\"}}", "0123456789".repeat(300))),
    };
    timed("log 9,000 assessments, each call synchronised to the disk", || {
        for number in PROBES..ENTRIES {
            let pairing = 1 + number % PROBES;
            register.log_assessment(pairing, &record, &[], &act(number)).expect("an entry");
        }
    });
    drop(register);
    let register = timed("open", || Register::open(&path, OpenMode::Existing).expect("the bench"));
    let probes = timed("list 1,000 probes", || register.probes(Retired::Hidden).expect("probes"));
    let entries = timed("list 10,000 entries with 3 kB of result each", || {
        register.entries(&Filter::all()).expect("entries")
    });
    let found = timed("verify 10,000 entries", || register.verify(None).expect("a walk"));
    let one = Filter { pairing: Some(500), ..Filter::all() };
    timed("list the entries of one pairing", || register.entries(&one).expect("entries"));
    let now = START_MS + 200 * 86_400_000;
    let standings =
        timed("state of 1,000 pairings", || register.standings(Voids::Hidden, now).expect("states"));
    let text = timed("export to TOML", || register.export_toml().expect("text"));
    let mut copy = Register::open(&folder.path().join("copy"), OpenMode::Create).expect("a new bench");
    timed("import from TOML", || copy.import_toml(&text, &act(0)).expect("an import"));
    assert_eq!((probes.len(), entries.len(), standings.len()), (1_000, 10_000, 1_000));
    assert!(found.problems.is_empty() && found.entries == 10_000);
}
