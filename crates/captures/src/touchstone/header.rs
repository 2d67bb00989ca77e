//! The option line of a Touchstone file: frequency unit, parameter, number format, reference resistance.

use num_complex::Complex64;

use super::Parameter;

/// How a pair of numbers stands for a complex number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum NumberFormat {
    /// Magnitude and angle in degrees.
    MagnitudeAngle,
    /// 20·lg of the magnitude, and angle in degrees.
    DecibelAngle,
    /// Real and imaginary part.
    RealImaginary,
}

impl NumberFormat {
    pub(super) fn complex(self, first: f64, second: f64) -> Complex64 {
        match self {
            NumberFormat::MagnitudeAngle => Complex64::from_polar(first, second.to_radians()),
            NumberFormat::DecibelAngle => {
                Complex64::from_polar(10f64.powf(first / 20.0), second.to_radians())
            }
            NumberFormat::RealImaginary => Complex64::new(first, second),
        }
    }
}

/// What the option line says; the values before reading are those of the specification: `# GHz S MA R 50`.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Options {
    /// Power of ten of the frequency unit.
    pub(super) power: i32,
    pub(super) parameter: Parameter,
    pub(super) format: NumberFormat,
    pub(super) reference_ohm: f64,
}

/// What is wrong with an option line: expected, found, remedy.
pub(super) type Fault = (String, String, String);

/// Reads what follows the `#`.
pub(super) fn options(line: &str) -> Result<Options, Fault> {
    let mut options = Options {
        power: 9,
        parameter: Parameter::S,
        format: NumberFormat::MagnitudeAngle,
        reference_ohm: 50.0,
    };
    // Frequency unit, parameter, format, reference: each at most once.
    let mut given = [false; 4];
    let mut words = line.split_whitespace();
    while let Some(word) = words.next() {
        let kind = match word.to_ascii_uppercase().as_str() {
            unit @ ("HZ" | "KHZ" | "MHZ" | "GHZ") => {
                options.power = match unit {
                    "HZ" => 0,
                    "KHZ" => 3,
                    "MHZ" => 6,
                    _ => 9,
                };
                0
            }
            parameter @ ("S" | "Y" | "Z" | "G" | "H") => {
                options.parameter = match parameter {
                    "S" => Parameter::S,
                    "Y" => Parameter::Y,
                    "Z" => Parameter::Z,
                    "G" => Parameter::G,
                    _ => Parameter::H,
                };
                1
            }
            format @ ("MA" | "DB" | "RI") => {
                options.format = match format {
                    "MA" => NumberFormat::MagnitudeAngle,
                    "DB" => NumberFormat::DecibelAngle,
                    _ => NumberFormat::RealImaginary,
                };
                2
            }
            "R" => {
                let found = words.next().unwrap_or("nothing");
                options.reference_ohm = reference(found)?;
                3
            }
            _ => {
                return Err((
                    "frequency unit (Hz, kHz, MHz, GHz), parameter (S, Y, Z, G, H), format (MA, DB, RI) and R with \
                     a resistance in the option line"
                        .to_owned(),
                    quoted(word),
                    "write it like \"# MHz S RI R 50\"".to_owned(),
                ));
            }
        };
        if std::mem::replace(&mut given[kind], true) {
            return Err((
                "each part of the option line once".to_owned(),
                format!(
                    "{} as a second {}",
                    quoted(word),
                    ["unit", "parameter", "format", "reference"][kind]
                ),
                "take one of the two out".to_owned(),
            ));
        }
    }
    Ok(options)
}

/// A reference resistance.
pub(super) fn reference(word: &str) -> Result<f64, Fault> {
    number(word).filter(|r| *r > 0.0).ok_or_else(|| {
        (
            "a reference resistance in ohms, above zero".to_owned(),
            quoted(word),
            "give it as a plain real number, such as 50; complex references are not read".to_owned(),
        )
    })
}

/// A finite number, nothing else.
pub(super) fn number(word: &str) -> Option<f64> {
    let plain = word.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'e' | b'E'));
    if plain { word.parse().ok().filter(|x: &f64| x.is_finite()) } else { None }
}

/// A number times a power of ten, rounded once.
pub(super) fn scaled(word: &str, power: i32) -> Option<f64> {
    number(word)?;
    let (mantissa, exponent) = match word.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().ok()?),
        None => (word, 0),
    };
    number(&format!("{mantissa}e{}", exponent.checked_add(power)?))
}

/// A short piece of the file for a message.
pub(super) fn quoted(word: &str) -> String {
    let mut shown: String =
        word.chars().take(40).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    if word.chars().count() > 40 {
        shown.push('…');
    }
    format!("\"{shown}\"")
}
