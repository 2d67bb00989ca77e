//! What happened at the workshop in the year before: a list, oldest first.

use flattop_core::bench::Stage;

use super::wave::Shown;

/// One thing that happened.
pub(super) struct Event {
    /// Days before the end of the year.
    pub(super) days: f64,
    pub(super) probe: &'static str,
    pub(super) by: &'static str,
    pub(super) note: Option<&'static str>,
    pub(super) what: What,
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum What {
    /// The probe was paired with this input.
    Paired(&'static str),
    /// It moved to this input.
    Moved(&'static str),
    /// A capture was assessed.
    Assessed {
        stage: Stage,
        shown: Shown,
        temperature_c: f64,
        /// Whether the entry was withdrawn afterwards, and why.
        withdrawn: Option<&'static str>,
    },
    /// The trimmer was turned, without a capture afterwards.
    Adjusted,
}

const FIRST: &str = "bench technician 1";
const SECOND: &str = "bench technician 2";
const TRAINEE: &str = "trainee";

/// The |e| that the workshop accepts, and how long a check holds.
pub(super) const TOLERANCE: f64 = 0.01;
pub(super) const INTERVAL_DAYS: u32 = 90;

/// The whole year, oldest first.
pub(super) fn events() -> Vec<Event> {
    let mut year = Vec::new();
    let mut add = |days: f64, probe, by, note, what| year.push(Event { days, probe, by, note, what });
    let seen = |stage, e: f64, temperature_c| What::Assessed {
        stage,
        shown: Shown::Square(e),
        temperature_c,
        withdrawn: None,
    };
    use Stage::{AfterAdjustment as After, BeforeAdjustment as Before, Check};

    for (k, (probe, input)) in [
        ("probe-01", "bench-a/ch1"),
        ("probe-02", "bench-a/ch2"),
        ("probe-03", "bench-b/ch1"),
        ("probe-04", "bench-b/ch2"),
        ("probe-05", "bench-b/ch3"),
        ("probe-06", "field-1/ch2"),
        ("probe-07", "bench-b/ch4"),
        ("probe-08", "bench-c/ch1"),
        ("probe-09", "bench-c/ch2"),
    ]
    .into_iter()
    .enumerate()
    {
        add(362.0 - 0.02 * k as f64, probe, FIRST, Some("inventory of the year"), What::Paired(input));
    }
    // Set once, then looked at each quarter: e before, e after, what it crept to.
    for (start, probe, before, after, creep) in [
        (361.0, "probe-01", -0.041, 0.0006, 0.0011),
        (360.9, "probe-02", 0.027, -0.0009, 0.0008),
        (360.8, "probe-03", 0.016, 0.0012, -0.0010),
        (360.7, "probe-04", -0.022, -0.0004, 0.0012),
        (360.6, "probe-05", 0.033, 0.0008, 0.0004),
        (360.5, "probe-08", -0.018, 0.0015, 0.0016),
        (360.4, "probe-09", -0.047, -0.0011, 0.0007),
    ] {
        add(start, probe, FIRST, None, seen(Before, before, 20.5));
        add(start - 0.03, probe, FIRST, None, seen(After, after, 20.5));
        let last: u32 = match probe {
            // Its check of the second half was forgotten.
            "probe-03" => 2,
            _ => 3,
        };
        for quarter in 1..=last {
            let q = f64::from(quarter);
            let temperature = [19.0, 24.5, 21.5][quarter as usize - 1];
            let by = if quarter == 2 { SECOND } else { FIRST };
            add(start - 96.0 * q, probe, by, None, seen(Check, after + creep * q, temperature));
        }
    }
    // Set to its stop, and still off: the field case has more input capacitance than it can balance.
    add(300.0, "probe-06", SECOND, Some("taken along for its bandwidth"), seen(Before, -0.083, 21.0));
    add(299.96, "probe-06", SECOND, Some("trimmer at its stop"), seen(After, -0.0542, 21.0));
    // Creeps month by month: a trimmer that does not hold.
    add(360.3, "probe-07", FIRST, None, seen(Before, 0.021, 20.5));
    add(360.27, "probe-07", FIRST, None, seen(After, 0.0014, 20.5));
    for month in 1..=11 {
        let m = f64::from(month);
        let temperature = 20.0 + 4.0 * (0.55 * m).sin();
        add(360.27 - 31.0 * m, "probe-07", SECOND, None, seen(Check, 0.0014 - 0.000_55 * m, temperature));
    }
    // The tip was not on the calibrator; nothing can be told from that.
    let nothing =
        What::Assessed { stage: Check, shown: Shown::Nothing, temperature_c: 22.0, withdrawn: None };
    add(41.0, "probe-02", TRAINEE, None, nothing);
    add(40.97, "probe-02", TRAINEE, Some("again, with the tip connected"), seen(Check, 0.0014, 22.0));
    // Another probe was on the input.
    let mixed_up = What::Assessed {
        stage: Check,
        shown: Shown::Square(0.031),
        temperature_c: 22.0,
        withdrawn: Some("probe 02 was on this input by mistake; the capture shows that one"),
    };
    add(38.0, "probe-01", TRAINEE, None, mixed_up);
    add(37.9, "probe-01", SECOND, Some("the right probe now"), seen(Check, 0.0041, 22.0));
    // Out with the van, and set there.
    add(55.0, "probe-05", SECOND, Some("for the field case"), What::Moved("field-1/ch1"));
    add(54.98, "probe-05", SECOND, None, seen(Before, -0.034, 18.0));
    add(54.95, "probe-05", SECOND, None, seen(After, 0.0007, 18.0));
    // Dropped; nobody has set it since.
    add(12.0, "probe-08", FIRST, Some("fell off the bench yesterday"), seen(Check, 0.023, 21.0));
    // Turned without a look at a capture afterwards.
    add(9.0, "probe-04", TRAINEE, Some("squared by eye on a customer's board"), What::Adjusted);
    // New, and not checked yet.
    add(3.0, "probe-10", FIRST, Some("from the stores"), What::Paired("bench-a/ch1"));
    year.sort_by(|a, b| b.days.total_cmp(&a.days));
    year
}
