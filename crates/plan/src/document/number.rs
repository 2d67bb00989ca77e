//! Quantities of a document: a number with its unit, and perhaps a tolerance.

use flattop_core::finding::Finding;
use flattop_core::quantity::{QuantityError, Unit, caution, parse};

/// A value in SI units, with the half-width of its tolerance where one was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// The value, in the SI unit of its key.
    pub value: f64,
    /// Largest distance of the true value from it, in the same unit.
    pub half_width: Option<f64>,
}

impl Quantity {
    /// A value without a tolerance.
    pub const fn exact(value: f64) -> Self {
        Self { value, half_width: None }
    }

    /// Value and tolerance times `factor`.
    pub fn times(self, factor: f64) -> Self {
        Self { value: self.value * factor, half_width: self.half_width.map(|a| a * factor.abs()) }
    }

    /// Standard uncertainty of a tolerance within which all values are alike likely: a/√3 (JCGM 100:2008, 4.3.7).
    pub fn standard_uncertainty(self) -> Option<f64> {
        self.half_width.map(|a| a / 3f64.sqrt())
    }
}

/// What a number is a number of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// A quantity of the core.
    Of(Unit),
    /// Conductance per length, S/m.
    ConductancePerLength,
    /// A multiple such as a probe's 10×: `10`, `"10x"` or `"10×"`.
    Multiple,
    /// A difference of temperatures, K.
    TemperatureDifference,
}

impl Dimension {
    /// With its article, for messages.
    pub fn quantity(self) -> &'static str {
        match self {
            Dimension::Of(unit) => unit.quantity(),
            Dimension::ConductancePerLength => "a conductance per length",
            Dimension::Multiple => "a multiple",
            Dimension::TemperatureDifference => "a difference of temperatures",
        }
    }

    /// Something that can be written.
    pub fn example(self) -> &'static str {
        match self {
            Dimension::Of(unit) => unit.example(),
            Dimension::ConductancePerLength => "1 nS/m",
            Dimension::Multiple => "10 or 10x",
            Dimension::TemperatureDifference => "5 K",
        }
    }

    /// SI unit as printed; empty for plain numbers.
    pub fn symbol(self) -> &'static str {
        match self {
            Dimension::Of(unit) => unit.symbol(),
            Dimension::ConductancePerLength => "S/m",
            Dimension::Multiple => "",
            Dimension::TemperatureDifference => "K",
        }
    }
}

/// Which values a key takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limits {
    /// Any.
    Any,
    /// 0 and above.
    NotNegative,
    /// Above 0.
    Positive,
    /// Between 0 and 1, both left out.
    Share,
}

impl Limits {
    pub(super) fn contain(self, value: f64) -> bool {
        match self {
            Limits::Any => true,
            Limits::NotNegative => value >= 0.0,
            Limits::Positive => value > 0.0,
            Limits::Share => value > 0.0 && value < 1.0,
        }
    }

    /// For messages, with a blank before it.
    pub(super) fn words(self) -> &'static str {
        match self {
            Limits::Any => "",
            Limits::NotNegative => " not below zero",
            Limits::Positive => " above zero",
            Limits::Share => " between 0 and 1",
        }
    }
}

/// What is wrong with a text: what was found, and a remedy that may be empty.
pub(super) type Fault = (String, String);

/// Reads `"15 pF"`, `"15 pF ± 2 pF"`, `"15 ± 2 pF"` or `"15 pF +- 10 %"`.
pub(super) fn quantity(text: &str, dimension: Dimension) -> Result<Quantity, Fault> {
    let sign = ["±", "+-", "+/-"].into_iter().find_map(|sign| text.split_once(sign));
    let Some((value_text, width_text)) = sign else {
        return Ok(Quantity::exact(plain(text, dimension)?));
    };
    let (value_text, width_text) = (value_text.trim(), width_text.trim());
    let relative = width_text.ends_with('%') || width_text.ends_with("ppm");
    let percent_of_percent = dimension == Dimension::Of(Unit::Ratio);
    if relative && !percent_of_percent {
        let value = plain(value_text, dimension)?;
        let share = plain(width_text, Dimension::Of(Unit::Ratio))?;
        return with_width(text, value, share * value.abs());
    }
    // In "20 ± 2 pF" the unit belongs to both numbers.
    let unit_at = width_text.rfind(|c: char| c.is_ascii_digit()).map_or(0, |at| at + 1);
    let bare = value_text.ends_with(|c: char| c.is_ascii_digit());
    let value = match &width_text[unit_at..] {
        unit if bare && !unit.is_empty() => plain(&format!("{value_text}{unit}"), dimension)?,
        _ => plain(value_text, dimension)?,
    };
    with_width(text, value, plain(width_text, dimension)?)
}

fn with_width(text: &str, value: f64, half_width: f64) -> Result<Quantity, Fault> {
    if half_width >= 0.0 && half_width.is_finite() {
        Ok(Quantity { value, half_width: Some(half_width) })
    } else {
        Err((format!("\"{text}\""), "the tolerance behind ± must not be below zero".to_owned()))
    }
}

fn plain(text: &str, dimension: Dimension) -> Result<f64, Fault> {
    let text = text.trim();
    let whole = || (format!("\"{text}\""), String::new());
    match dimension {
        Dimension::Of(unit) => parse(text, unit).map_err(fault),
        // The number with its prefix is the same for all units; only the symbol is our own.
        Dimension::ConductancePerLength => {
            let number = text.strip_suffix("S/m").unwrap_or(text).trim_end();
            if number.ends_with('m') && number.len() == text.len() {
                return Err(whole());
            }
            let letters = number.trim_start_matches(|c: char| c.is_ascii_digit() || ".,-+ eE".contains(c));
            if letters.chars().count() > 1 {
                return Err(whole());
            }
            parse(number, Unit::HenryPerMetre).map_err(|_| whole())
        }
        Dimension::TemperatureDifference => {
            let number = text.strip_suffix('K').unwrap_or(text).trim_end();
            if !number.ends_with(|c: char| c.is_ascii_digit() || c == '.') {
                return Err(whole());
            }
            parse(number, Unit::Ratio).map_err(|_| whole())
        }
        Dimension::Multiple => {
            let number = text.strip_suffix(['x', 'X', '×']).unwrap_or(text).trim_end();
            if number.ends_with(['%', 'm']) {
                return Err(whole());
            }
            parse(number, Unit::Ratio).map_err(|_| whole())
        }
    }
}

/// What the core says about a text, in two halves.
fn fault(error: QuantityError) -> Fault {
    match error {
        QuantityError::Empty { .. } => ("an empty text".to_owned(), String::new()),
        QuantityError::NoNumber { found, .. } => {
            (format!("\"{found}\", which holds no number"), String::new())
        }
        QuantityError::OtherUnit { found, given, .. } => {
            (format!("\"{found}\", which is {}", given.quantity()), String::new())
        }
        QuantityError::UnknownUnit { found, rest, .. } => {
            (format!("\"{found}\", where \"{rest}\" is no unit of it"), String::new())
        }
        QuantityError::AmbiguousComma { found, point, grouped } => (
            format!("\"{found}\", whose comma may be decimal or may group thousands"),
            format!("write {point} or {grouped}"),
        ),
        QuantityError::TooLarge { found, .. } => (format!("\"{found}\", which is too large"), String::new()),
        QuantityError::NotAPair { found } | QuantityError::NotPositive { found } => {
            (format!("\"{found}\""), String::new())
        }
    }
}

/// Remarks on a quantity that was understood, but perhaps not as it was meant. `text` is what was written; `key` names it.
pub(super) fn remarks(key: &str, text: &str, value: f64, dimension: Dimension) -> Option<Finding> {
    let Dimension::Of(unit) = dimension else { return None };
    if matches!(unit, Unit::Ohm | Unit::Hertz)
        && let Some(finding) = caution(text, unit)
    {
        return Some(Finding { message: format!("{key}: {}", finding.message), ..finding });
    }
    let small = matches!(unit, Unit::Farad | Unit::Henry | Unit::FaradPerMetre | Unit::HenryPerMetre);
    let bare = text.trim().ends_with(|c: char| c.is_ascii_digit());
    (small && bare && value.abs() >= 1e-3).then(|| {
        Finding::warning(
            "number-without-unit",
            format!("{key}: {} was read as {value} {}", text.trim(), unit.symbol()),
            format!("write the unit, for example \"{}\"", unit.example()),
        )
    })
}
