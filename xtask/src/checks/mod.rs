//! Checks of the core against the outside: published data sets, worked examples and closed forms.

mod bandwidth;
mod captures;
mod chain;
mod characterise;
mod correction;
mod coupling;
mod curve;
mod divider;
mod dual;
mod fits;
mod inductance;
mod links;
mod measured;
mod nist;
mod pair;
mod pulse;
mod reach;
mod register;
mod safety;
mod simulated;
mod sine;
mod statistics;
mod tracking;
mod trade;
mod uncertainty;

/// Where an expected value comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tag {
    /// Printed in the named source.
    Published,
    /// Worked out from a formula printed in the named source.
    Derived,
    /// Recalled, not looked up.
    FromMemory,
    /// What the trade knows without a source.
    CommonPractice,
}

impl Tag {
    /// As printed in the dossier.
    pub(crate) fn label(self) -> &'static str {
        match self {
            Tag::Published => "published",
            Tag::Derived => "derived",
            Tag::FromMemory => "from memory",
            Tag::CommonPractice => "common practice",
        }
    }
}

/// One comparison.
#[derive(Clone, Debug)]
pub(crate) struct Row {
    pub(crate) id: String,
    pub(crate) what: String,
    pub(crate) source: String,
    pub(crate) tag: Tag,
    pub(crate) expected: f64,
    pub(crate) got: f64,
    /// Largest absolute difference accepted, in `unit`.
    pub(crate) tolerance: f64,
    pub(crate) unit: &'static str,
}

impl Row {
    /// Whether the difference is accepted; never for a NaN.
    pub(crate) fn passes(&self) -> bool {
        (self.got - self.expected).abs() <= self.tolerance
    }
}

/// Rows that share source and tag are written as a list of `(id, what, expected, got, tolerance, unit)`.
pub(crate) type Short<'a> = (&'a str, &'a str, f64, f64, f64, &'static str);

pub(crate) fn rows_of(source: &str, tag: Tag, list: &[Short<'_>]) -> Vec<Row> {
    list.iter()
        .map(|&(id, what, expected, got, tolerance, unit)| Row {
            id: id.to_owned(),
            what: what.to_owned(),
            source: source.to_owned(),
            tag,
            expected,
            got,
            tolerance,
            unit,
        })
        .collect()
}

/// One heading of the dossier with its rows.
pub(crate) struct Topic {
    pub(crate) title: &'static str,
    pub(crate) remark: &'static str,
    pub(crate) rows: Vec<Row>,
}

/// All checks, in the order of the dossier.
pub(crate) fn topics() -> Vec<Topic> {
    vec![
        Topic {
            title: "Compensated divider",
            remark: "Worked examples of textbooks, and the response table of one mis-set divider.",
            rows: divider::rows(),
        },
        Topic {
            title: "What the trade knows",
            remark: "Statements that any probe handbook or bench course makes; they have no single source.",
            rows: trade::rows(),
        },
        Topic {
            title: "Tilt and AC coupling",
            remark: "Worked examples of a pulse-circuit textbook. Its rules are of first order; where ours is exact the \
                     difference is part of the allowance and is stated.",
            rows: coupling::rows(),
        },
        Topic {
            title: "Transition duration and bandwidth",
            remark: "Closed forms of the one-pole, Gaussian and second-order responses.",
            rows: bandwidth::rows(),
        },
        Topic {
            title: "Pulse figures",
            remark: "Waveforms with closed forms, measured as functions of time with 2,000 samples and the histogram of 256 bins; \
                     readings off a screen, measured on waveforms drawn after the text.",
            rows: pulse::rows(),
        },
        Topic {
            title: "Two probes",
            remark: "Common-mode rejection of the difference of two probes.",
            rows: pair::rows(),
        },
        Topic {
            title: "Reach",
            remark: "What the best setting leaves on an input outside the probe's compensation range.",
            rows: reach::rows(),
        },
        Topic {
            title: "Inductance",
            remark: "Leads, loops and lines. Capacitances of lines follow from their inductance with the field outside the wires alone. \
                     The handbook's formula D-20 leaves out the diagonal of the loop; it is allowed the 20 % that it may be trusted to.",
            rows: inductance::rows(),
        },
        Topic {
            title: "Bench and logbook",
            remark: "Digests, times and texts of a bench beside what general-purpose readers make of them. After hundreds of kills under write \
                     load SQLite's own integrity check is run by the tests of the register and of the program.",
            rows: register::rows(),
        },
        Topic {
            title: "Instrument links",
            remark: "Blocks, numbers, messages and frames as the standards print them. The standards were not at hand: their examples are \
                     quoted from memory, and byte for byte, so a count of differing bytes is held to nought.",
            rows: links::rows(),
        },
        Topic {
            title: "Safety and derating",
            remark: "Levels from which on cautions show, found by bisection, and the physics of derating.",
            rows: safety::rows(),
        },
        Topic {
            title: "Non-linear least squares: NIST StRD",
            remark: "Every set is fitted from both published starts with the same options. Parameters may differ by 1e-6, \
                     standard deviations by 1e-4, relative to the certified value. Lanczos1 is certified for a residual \
                     of 1e-25, below what double precision carries; its standard deviations are held to 1e-3 and its sum of \
                     squares is not compared.",
            rows: nist::rows(),
        },
        Topic {
            title: "Other fits with published data",
            remark: "Data as printed in the source; expected values are the least-squares solutions found with SciPy \
                     1.17 from the same data (the source itself uses another criterion).",
            rows: fits::rows(),
        },
        Topic {
            title: "Sine fits",
            remark: "IEEE Std 1057 three- and four-parameter fits.",
            rows: sine::rows(),
        },
        Topic {
            title: "Whole chains",
            remark: "21 chains (testdata/chain/cases.csv) against exact cascades, over frequency and over time, and against ngspice. Over \
                     frequency its line element is exact to 1e-8; a line with a conductance it refuses: there a ladder of \
                     sections stands in, and only points where that is within 1e-4 of the exact cascade are kept. Over time ngspice is the less exact one: at 20 ps steps it differs from \
                     numerical inversion and from Fourier series, which agree to 1e-9, by up to 5e-4 of the step \
                     (testdata/chain/README.md); 2e-3 is allowed, and 2e-4 against the inversion.",
            rows: chain::rows(),
        },
        Topic {
            title: "Lines and cascades",
            remark: "S-parameters of uniform lines and small cascades, by scikit-rf.",
            rows: chain::lines(),
        },
        Topic {
            title: "Forms of response",
            remark: "Over frequency and as step responses against SciPy; transition duration times bandwidth and overshoot of the \
                     families.",
            rows: chain::forms().into_iter().chain(chain::families()).collect(),
        },
        Topic {
            title: "Corrected records",
            remark: "Records distorted by SciPy's first-order hold come back to what rounding of the files leaves, and agree with two other ways back; \
                     records of lumped dividers, their edges between samples, within 0.1 % of the step; of whole chains within 1 % up to the \
                     bandwidth stated.",
            rows: correction::rows(),
        },
        Topic {
            title: "Responses from edges",
            remark: "Square waves behind known responses, with noise on probe and source, read from their files (testdata/characterise).",
            rows: characterise::rows(),
        },
        Topic {
            title: "Simulated probes",
            remark: "Captures of testdata/ngspice through reader and estimator. Allowed are three of our own standard \
                     uncertainties, and 2e-4 (of τp, relative) at least: what cable and source add to the lumped divider. C1 and C2 \
                     are held to 1 %. Of the hook, the plateau before its slow tail counts as settled: (e − tail)/(1 + tail).",
            rows: simulated::rows(),
        },
        Topic {
            title: "What a data sheet doesn't say",
            remark: "Input capacitance by substitution, compensation range from both stops, and the capacitance at the tip, from \
                     captures of testdata/ngspice (measured.csv) through reader, estimator and core. Resistors and the known input are \
                     exact, so what is left is what captures add: three of our own standard uncertainties are allowed, and 0.05 pF \
                     at most (0.1 pF behind a resistor, 0.5 pF in noise). That the stops balance their limits, and what is at the tip, ngspice itself said from other analyses.",
            rows: measured::rows(),
        },
        Topic {
            title: "Captures fitted with SciPy",
            remark: "Files of testdata/scipy and testdata/ngspice. Both estimates come from the same samples: half of the \
                     combined standard uncertainty is allowed, the whole of it for the simulated captures, which have no noise (there \
                     the edge times, which SciPy was told and we find, are all the difference); and 1e-4 (of τp, relative) at least. \
                     Standard uncertainties may differ by 40 % where the models are the same, W-21. Elsewhere ours is \
                     larger, and only has to be no smaller than SciPy's, W-22: edge times are found, a quantiser's \
                     error does not average out, and a sag of the source that flats of a few τp cannot exclude is allowed for. \
                     The hook is left out: SciPy's e counts the slow tail in.",
            rows: captures::scipy(),
        },
        Topic {
            title: "Sines with a reference column",
            remark: "Three captures of testdata/scipy, assessed together; three of our own standard uncertainties are allowed.",
            rows: captures::sines(),
        },
        Topic {
            title: "Probabilities",
            remark: "Quantiles and tails used for statements of confidence.",
            rows: statistics::rows(),
        },
        Topic {
            title: "Following a trimmer",
            remark: "Run lengths by simulation with one fixed seed; four standard deviations of the simulated mean are allowed.",
            rows: tracking::rows(),
        },
        Topic {
            title: "Uncertainty",
            remark: "Worked examples of JCGM 100 (law of propagation) and JCGM 101 (Monte Carlo), with one fixed seed. Monte Carlo results are \
                     held to the numerical tolerance of JCGM 101, 7.9.2, for two digits of u, or closer; ends of shortest intervals slide on a flat optimum and are \
                     allowed twice their own spread as well, their lengths are not. The printed figures are quotations of the documents, which were not seen themselves.",
            rows: uncertainty::rows(),
        },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_inside_its_tolerance() {
        let failing: Vec<Row> = topics().into_iter().flat_map(|t| t.rows).filter(|r| !r.passes()).collect();
        assert!(failing.is_empty(), "{failing:#?}");
    }

    #[test]
    fn identifiers_are_unique_and_tolerances_positive() {
        let rows: Vec<Row> = topics().into_iter().flat_map(|t| t.rows).collect();
        assert!(rows.len() > 200, "only {} rows", rows.len());
        let mut seen = std::collections::HashSet::new();
        for row in &rows {
            assert!(seen.insert((row.id.clone(), row.what.clone())), "{} {} twice", row.id, row.what);
            assert!(row.tolerance > 0.0, "{} has no tolerance", row.id);
        }
    }
}
