//! `[reading]`, `[[uncertain]]`, `[[correlated]]` and `[second]`: what a budget of uncertainty needs beyond a plan.

use flattop_core::quantity::Unit;

use crate::document::{Dimension, Grid, Limits, Quantity, Table};
use crate::input::{self, Input};
use crate::probe::{self, Probe};
use crate::surroundings::{self, Contact, Node};
use crate::words;

const VOLT: Dimension = Dimension::Of(Unit::Volt);
const SECOND: Dimension = Dimension::Of(Unit::Second);
const RATIO: Dimension = Dimension::Of(Unit::Ratio);

/// Most readings that are averaged.
pub(crate) const MOST_AVERAGES: u32 = 1_000_000;

words! {
    /// What is read off the screen.
    pub enum ReadQuantity {
        /// Amplitude of a sine.
        Amplitude = "amplitude",
        /// Highest less lowest value.
        PeakToPeak = "peak-to-peak",
        /// 10–90 % transition duration.
        TransitionDuration = "transition-duration",
        /// From the edge on the first probe to that on the second one.
        Delay = "delay",
        /// Mean over whole periods.
        Mean = "mean",
        /// Root mean square over whole periods.
        Rms = "rms",
    }
}

words! {
    /// Whether the form of the input's response is known.
    pub enum FormWord {
        /// It is the one in the plan.
        Known = "known",
        /// It may be any of the usual ones.
        Unknown = "unknown",
    }
}

words! {
    /// How likely the values within a tolerance are.
    pub enum DistributionWord {
        /// All alike.
        Rectangular = "rectangular",
        /// Normal; the tolerance is an expanded uncertainty.
        Normal = "normal",
        /// The likelier the nearer to the middle.
        Triangular = "triangular",
        /// Likeliest at both ends.
        Arcsine = "arcsine",
        /// Student's t; the tolerance is an expanded uncertainty.
        T = "t",
        /// All alike, between limits that are themselves in doubt.
        Trapezoid = "trapezoid",
        /// Those seen before.
        Samples = "samples",
    }
}

words! {
    /// How an uncertainty was evaluated (JCGM 100, 2.3.2 and 2.3.3).
    pub enum EvaluationWord {
        /// From a series of observations.
        A = "A",
        /// From anything else.
        B = "B",
    }
}

/// Everything of a plan that belongs to a budget.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    /// What is read; `None` in plans for a prediction alone.
    pub reading: Option<Reading>,
    /// What is said of tolerances beyond their width.
    pub uncertain: Vec<Uncertain>,
    /// Pairs that are correlated.
    pub correlated: Vec<Correlated>,
    /// The second probe, for delays.
    pub second: Option<Second>,
}

/// What is read, and how well the oscilloscope reads.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// What.
    pub quantity: ReadQuantity,
    /// Of amplitudes: at which frequencies, Hz.
    pub frequencies: Option<Grid>,
    /// What the screen shows, V or s.
    pub shown: Option<Quantity>,
    /// Repeated readings, V or s.
    pub observations: Option<Vec<f64>>,
    /// Gain error, share.
    pub gain: Option<Quantity>,
    /// Offset at the tip, V.
    pub offset: Option<Quantity>,
    /// Rms noise of one reading at the tip, V.
    pub noise: Option<Quantity>,
    /// How many readings are averaged.
    pub averages: u32,
    /// One step of the quantisation at the tip, V.
    pub step: Option<Quantity>,
    /// Error of the time base, share.
    pub time_base: Option<Quantity>,
    /// Resolution of times, s.
    pub time_step: Option<Quantity>,
    /// How much later the second channel is than the first, s.
    pub skew: Option<Quantity>,
    /// Whether the form of the input's response is known: as said, else whether the plan gives it.
    pub response_form: FormWord,
    /// e, from an assessment.
    pub compensation_error: Option<Quantity>,
    /// τp, from an assessment, s.
    pub time_constant: Option<Quantity>,
    /// Temperature less that at which all other figures hold, K.
    pub temperature_difference: Option<Quantity>,
}

/// What is said of one tolerance.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncertain {
    /// Path of the key that has the tolerance.
    pub key: String,
    /// Its distribution; rectangular where nothing is said.
    pub distribution: Option<DistributionWord>,
    /// How many standard uncertainties the tolerance is.
    pub coverage_factor: Option<f64>,
    /// Of the standard uncertainty.
    pub degrees_of_freedom: Option<f64>,
    /// How far the limits may be off, share of the half-width.
    pub doubt: Option<f64>,
    /// Deviations seen, shares of the value.
    pub deviations: Option<Vec<f64>>,
    /// Type A or B.
    pub evaluation: EvaluationWord,
    /// Change of the value per kelvin, share of it.
    pub temperature_coefficient: Option<Quantity>,
}

/// Two keys whose values are correlated.
#[derive(Clone, Debug, PartialEq)]
pub struct Correlated {
    /// Path of the one.
    pub first: String,
    /// Path of the other.
    pub second: String,
    /// r.
    pub coefficient: f64,
}

/// The second probe and what is about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Second {
    /// Its node; stiff where left out.
    pub node: Node,
    /// Its contact.
    pub contact: Contact,
    /// The probe.
    pub probe: Probe,
    /// Its channel.
    pub input: Input,
    /// Whether the form of its response is known: as said of the reading, else whether the plan gives it.
    pub response_form: FormWord,
}

/// Reads all of it; `None` where something is wrong.
pub(crate) fn read(root: &Table) -> Option<Budget> {
    let table = root.table("reading");
    let stated = table.word("response_form");
    let form = |of: &Table| {
        let is_given = of.table("input").has("response");
        stated.unwrap_or(if is_given { FormWord::Known } else { FormWord::Unknown })
    };
    let reading = reading(&table, form(root));
    let all = |key: &str| root.tables(key);
    let uncertain: Vec<Option<Uncertain>> = all("uncertain").iter().map(uncertain).collect();
    let correlated: Vec<Option<Correlated>> = all("correlated").iter().map(correlated).collect();
    let other = root.table("second");
    let second = second(&other, form(&other));
    Some(Budget {
        reading: if table.is_present() { Some(reading?) } else { None },
        uncertain: uncertain.into_iter().collect::<Option<_>>()?,
        correlated: correlated.into_iter().collect::<Option<_>>()?,
        second: if other.is_present() { Some(second?) } else { None },
    })
}

fn reading(table: &Table, response_form: FormWord) -> Option<Reading> {
    let quantity: Option<ReadQuantity> = table.word("quantity");
    let frequencies = table.grid("frequencies", Dimension::Of(Unit::Hertz), Limits::Positive);
    let shown_v = table.quantity("shown", VOLT, Limits::Any);
    let shown_s = table.quantity("shown_time", SECOND, Limits::Any);
    let observed_v = table.list("observations", VOLT, Limits::Any);
    let observed_s = table.list("observed_times", SECOND, Limits::Any);
    let gain = table.quantity("gain", RATIO, Limits::Any);
    let offset = table.quantity("offset", VOLT, Limits::Any);
    let noise = table.quantity("noise", VOLT, Limits::NotNegative);
    let averages = table.whole("averages", 1, MOST_AVERAGES);
    let step = table.quantity("step", VOLT, Limits::NotNegative);
    let time_base = table.quantity("time_base", RATIO, Limits::Any);
    let time_step = table.quantity("time_step", SECOND, Limits::NotNegative);
    let skew = table.quantity("skew", SECOND, Limits::Any);
    let compensation_error = table.quantity("compensation_error", RATIO, Limits::Any);
    let time_constant = table.quantity("time_constant", SECOND, Limits::Positive);
    let temperature_difference =
        table.quantity("temperature_difference", Dimension::TemperatureDifference, Limits::Any);
    if !table.is_present() {
        return None;
    }
    let quantity = table.required("quantity", quantity, "say what is read")?;
    let is_time = matches!(quantity, ReadQuantity::TransitionDuration | ReadQuantity::Delay);
    let word = format!("quantity \"{}\"", quantity.word());
    if is_time {
        table.refuse(&["shown", "observations"], "shown_time and observed_times for a time", &word);
    } else {
        table.refuse(&["shown_time", "observed_times"], "shown and observations for a voltage", &word);
    }
    if quantity != ReadQuantity::Amplitude {
        table.refuse(&["frequencies"], "this key with quantity \"amplitude\" only", &word);
    }
    if quantity != ReadQuantity::Delay {
        table.refuse(&["skew"], "this key with quantity \"delay\" only", &word);
    }
    if compensation_error.is_some_and(|e| e.value <= -1.0) {
        table.problem(
            "compensation_error",
            "a share above -100 %",
            "less",
            "give e as flattop assess states it",
        );
    }
    let (shown, observations) = if is_time { (shown_s, observed_s) } else { (shown_v, observed_v) };
    if let Some(few) = observations.as_ref().filter(|list| list.len() < 2) {
        let key = if is_time { "observed_times" } else { "observations" };
        table.problem(
            key,
            "two readings or more",
            &few.len().to_string(),
            "give a single one as what is shown",
        );
    }
    if shown.is_some() && observations.is_some() {
        let key = if is_time { "shown_time" } else { "shown" };
        table.problem(key, "either one reading or several", "both", "take one of the two out");
    }
    Some(Reading {
        quantity,
        frequencies,
        shown,
        observations,
        gain,
        offset,
        noise,
        averages: averages.unwrap_or(1),
        step,
        time_base,
        time_step,
        skew,
        response_form,
        compensation_error,
        time_constant,
        temperature_difference,
    })
}

fn uncertain(table: &Table) -> Option<Uncertain> {
    let key = table.text("key");
    let distribution: Option<DistributionWord> = table.word("distribution");
    let value = |q: Option<Quantity>| q.map(|q| q.value);
    let coverage_factor = value(table.quantity("coverage_factor", Dimension::Multiple, Limits::Positive));
    let degrees_of_freedom =
        value(table.quantity("degrees_of_freedom", Dimension::Multiple, Limits::Positive));
    let doubt = value(table.quantity("doubt", RATIO, Limits::Share));
    let deviations = table.list("deviations", RATIO, Limits::Any);
    let evaluation = table.word("evaluation");
    let temperature_coefficient = table.quantity("temperature_coefficient", RATIO, Limits::Any);
    let key =
        table.required("key", key, "name the key whose tolerance is meant, such as \"probe.tip_resistance\"");
    match distribution {
        Some(DistributionWord::Normal) => {
            let why = "say how many standard uncertainties the tolerance is, such as 2";
            table.required("coverage_factor", coverage_factor, why);
        }
        Some(DistributionWord::T) => {
            let why = "say how many standard uncertainties the tolerance is, such as 2";
            table.required("coverage_factor", coverage_factor, why);
            table.required("degrees_of_freedom", degrees_of_freedom, "t needs them");
        }
        Some(DistributionWord::Trapezoid) => {
            table.required("doubt", doubt, "say how far the limits may be off, as a share of the tolerance");
        }
        Some(DistributionWord::Samples) => {
            table.required("deviations", deviations.as_ref(), "samples are what was seen");
        }
        _ => {}
    }
    let only = |name: &str, with: &[DistributionWord]| {
        if !distribution.is_some_and(|d| with.contains(&d)) {
            let words: Vec<&str> = with.iter().map(|d| d.word()).collect();
            table.refuse(
                &[name],
                &format!("this key with distribution {} only", words.join(" or ")),
                "another",
            );
        }
    };
    only("coverage_factor", &[DistributionWord::Normal, DistributionWord::T]);
    only("doubt", &[DistributionWord::Trapezoid]);
    only("deviations", &[DistributionWord::Samples]);
    Some(Uncertain {
        key: key?,
        distribution,
        coverage_factor,
        degrees_of_freedom,
        doubt,
        deviations,
        evaluation: evaluation.unwrap_or(EvaluationWord::B),
        temperature_coefficient,
    })
}

fn correlated(table: &Table) -> Option<Correlated> {
    let first = table.text("first");
    let second = table.text("second");
    let coefficient = table.quantity("coefficient", RATIO, Limits::Any);
    let why = "a correlation is one of two keys";
    let first = table.required("first", first, why);
    let second = table.required("second", second, why);
    let coefficient = table.required("coefficient", coefficient, "give the correlation coefficient");
    if coefficient.is_some_and(|r| r.value.abs() > 1.0) {
        table.problem("coefficient", "a number from -1 to 1", "one beyond", "");
    }
    Some(Correlated { first: first?, second: second?, coefficient: coefficient?.value })
}

fn second(table: &Table, response_form: FormWord) -> Option<Second> {
    let node = surroundings::node(&table.table("node"));
    let contact = surroundings::contact(&table.table("contact"));
    let (probe_table, input_table) = (table.table("probe"), table.table("input"));
    if !table.is_present() {
        // The keys are known in any case.
        probe::ask(&probe_table);
        input::ask(&input_table);
        return None;
    }
    let probe = probe::read(&probe_table);
    let input = input::read(&input_table);
    Some(Second { node, contact, probe: probe?, input: input?, response_form })
}

#[cfg(test)]
mod tests {
    use crate::{BUDGET_KEYS, Plan, budget_template};

    const BASE: &str = "[probe]\ntip_resistance = '9M'\ntip_capacitance = '12p'\n[input]\nresistance = '1M'\ncapacitance = '15p'\n";

    /// Each example is read, and some plan differs by it or cannot do without it.
    #[test]
    fn examples_of_budget_keys_are_read() {
        let uncertain = |more: &str| format!("{BASE}[[uncertain]]\nkey = 'probe.tip_resistance'\n{more}");
        let reading = |word: &str| format!("{BASE}[reading]\nquantity = '{word}'\n");
        let bases = [
            reading("amplitude"),
            reading("amplitude").replace("'15p'", "'15p'\nbandwidth = 1e8\nresponse = 'gaussian'"),
            reading("delay"),
            uncertain(""),
            uncertain("distribution = 'normal'\ncoverage_factor = 1\n"),
            uncertain("distribution = 't'\ncoverage_factor = 1\ndegrees_of_freedom = 3\n"),
            uncertain("distribution = 'trapezoid'\ndoubt = 0.5\n"),
            uncertain("distribution = 'samples'\ndeviations = [0]\n"),
            format!("{BASE}[[correlated]]\nfirst = 'a'\nsecond = 'b'\ncoefficient = 0.1\n"),
        ];
        for key in BUDGET_KEYS {
            let path = key.path.replace("[]", "1");
            let value = key.example.trim_matches('"');
            let works = bases.iter().any(|base| {
                let Ok(with) = Plan::with_overrides("", base, &[(&path, value)]) else { return false };
                let without = Plan::with_overrides("", base, &[(&path, "")]);
                without.is_err() || without.is_ok_and(|plan| plan != with)
            });
            assert!(works || key.path == "uncertain.[].evaluation", "{}", key.path);
        }
    }

    #[test]
    fn template_is_read_and_names_every_key() {
        let text = budget_template();
        let plan = Plan::parse("template", &text).unwrap();
        assert!(plan.budget.reading.is_some());
        for key in BUDGET_KEYS {
            let (table, name) = key.table_and_name();
            assert!(text.contains(&format!("{table}\n")), "{table}");
            assert!(text.contains(&format!("{name} = {}\n", key.example)), "{name}");
        }
    }

    #[test]
    fn what_does_not_belong_together_is_told_with_its_place() {
        for (text, key) in [
            ("[reading]\nquantity = 'mean'\nshown_time = '1 ns'\n", "[reading] shown_time"),
            ("[reading]\nquantity = 'delay'\nshown = '1 V'\n", "[reading] shown"),
            ("[reading]\nquantity = 'mean'\nshown = 1\nobservations = [1, 2]\n", "[reading] shown"),
            ("[reading]\nquantity = 'mean'\nobservations = [1]\n", "[reading] observations"),
            ("[reading]\nquantity = 'rms'\nskew = 0\n", "[reading] skew"),
            ("[reading]\nnoise = '1 mV'\n", "[reading] quantity"),
            ("[[uncertain]]\ndistribution = 'triangular'\n", "[[uncertain]] key (no. 1)"),
            ("[[uncertain]]\nkey = 'x'\ndistribution = 'normal'\n", "[[uncertain]] coverage_factor (no. 1)"),
            ("[[uncertain]]\nkey = 'x'\ndoubt = 0.1\n", "[[uncertain]] doubt (no. 1)"),
            (
                "[[correlated]]\nfirst = 'a'\nsecond = 'b'\ncoefficient = 2\n",
                "[[correlated]] coefficient (no. 1)",
            ),
            ("[reading]\nquantity = 'mean'\ngane = 1\n", "[reading] gane"),
        ] {
            let error = Plan::parse("", &format!("{BASE}{text}")).unwrap_err();
            assert!(error.problems.iter().any(|p| p.key == key), "{text}: {error}");
        }
    }
}
