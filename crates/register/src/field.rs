//! The fields of things: one table for editing, import, export and storage, so that all four speak of the same.

use flattop_core::bench::{GroundAccessory, Input, Oscilloscope, Pairing, Probe, Range, Toleranced, Trimmer};
use flattop_core::chain::ResponseShape;
use flattop_core::quantity::{self, QuantityError, Unit};
use flattop_core::rating::{MeasurementCategory, RatingPoint, ValueKind};
use rusqlite::types::Value as Cell;
use thiserror::Error;

/// How a field is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Free text.
    Text,
    /// `15 pF`.
    Quantity(Unit),
    /// `15 pF ± 1 pF`, `15 pF ± 5 %`, or `15 pF` with a tolerance that is not known.
    Toleranced(Unit),
    /// `10 pF to 25 pF`.
    Range(Unit),
    /// A plain number, such as the `10` of a 10× probe.
    Number,
    /// `90 days` or `13 weeks`.
    Days,
    /// `single-pole`, `gaussian`, `bessel-4`, `maximally-flat-1` to `-10`.
    Response,
    /// `tip`, `base`, `fixed`.
    Trimmer,
    /// `CAT II`, `CAT III`, `CAT IV`.
    Category,
    /// `peak`, `rms`, `dc`: what a rated voltage means.
    ValueKind,
    /// `600 V at 0 Hz; 300 V at 10 MHz`.
    Rating,
}

/// Why a text is not the value of a field.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum ValueError {
    /// Not the quantity.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// Not one of the words.
    #[error("\"{found}\" is not known here: write {expected}")]
    Word {
        /// The text.
        found: String,
        /// What may be written.
        expected: &'static str,
    },
    /// Not RFC 3339.
    #[error(
        "\"{found}\" is no time with an offset: write it as in RFC 3339, for example 2026-11-25T16:17:06+01:00"
    )]
    Time {
        /// The text.
        found: String,
    },
}

/// The value of a field.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Value {
    Text(String),
    Number(f64),
    Toleranced(Toleranced),
    Range(Range),
    Whole(u32),
    Rating(Vec<RatingPoint>),
}

/// One field of `E`.
pub(crate) struct Field<E> {
    /// Its name as people type it; a dot stands between a group and its member.
    pub(crate) key: &'static str,
    pub(crate) kind: Kind,
    /// One column, or two for a tolerance or a range.
    pub(crate) columns: &'static [&'static str],
    pub(crate) get: fn(&E) -> Option<Value>,
    /// `None` when the value is not one that the field can hold.
    pub(crate) set: fn(&mut E, Option<Value>) -> Option<()>,
}

/// A name and the form of its text, for help and forms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FieldInfo {
    /// Key as people type it.
    pub key: &'static str,
    /// How it is written.
    pub kind: Kind,
}

/// Something with fields.
pub(crate) trait Fields: Sized + 'static {
    const KIND: &'static str;
    const FIELDS: &'static [Field<Self>];

    fn field(key: &str) -> Result<&'static Field<Self>, crate::error::RegisterError> {
        Self::FIELDS.iter().find(|f| f.key == key).ok_or_else(|| crate::error::RegisterError::UnknownKey {
            kind: Self::KIND,
            key: key.to_owned(),
            known: Self::FIELDS.iter().map(|f| f.key).collect::<Vec<_>>().join(", "),
        })
    }

    fn infos() -> Vec<FieldInfo> {
        Self::FIELDS.iter().map(|f| FieldInfo { key: f.key, kind: f.kind }).collect()
    }
}

trait Held: Sized {
    fn out(&self) -> Option<Value>;
    fn take(value: Option<Value>) -> Option<Self>;
}

macro_rules! held {
    ($type:ty, $variant:ident) => {
        impl Held for Option<$type> {
            fn out(&self) -> Option<Value> {
                self.clone().map(Value::$variant)
            }
            fn take(value: Option<Value>) -> Option<Self> {
                match value {
                    None => Some(None),
                    Some(Value::$variant(inner)) => Some(Some(inner)),
                    Some(_) => None,
                }
            }
        }
    };
}
held!(String, Text);
held!(f64, Number);
held!(Toleranced, Toleranced);
held!(Range, Range);
held!(u32, Whole);

impl Held for Vec<RatingPoint> {
    fn out(&self) -> Option<Value> {
        (!self.is_empty()).then(|| Value::Rating(self.clone()))
    }
    fn take(value: Option<Value>) -> Option<Self> {
        match value {
            None => Some(Vec::new()),
            Some(Value::Rating(points)) => Some(points),
            Some(_) => None,
        }
    }
}

macro_rules! words {
    ($type:ty, $show:ident, $read:ident) => {
        impl Held for Option<$type> {
            fn out(&self) -> Option<Value> {
                (*self).map(|v| Value::Text($show(v)))
            }
            fn take(value: Option<Value>) -> Option<Self> {
                match value {
                    None => Some(None),
                    Some(Value::Text(text)) => $read(&text).map(Some),
                    Some(_) => None,
                }
            }
        }
    };
}
words!(Trimmer, trimmer_word, read_trimmer);
words!(MeasurementCategory, category_word, read_category);
words!(ValueKind, kind_word, read_kind);
words!(ResponseShape, response_word, read_response);

macro_rules! field {
    ($key:literal, $kind:expr, [$($column:literal),+], $($path:ident).+) => {
        Field {
            key: $key,
            kind: $kind,
            columns: &[$($column),+],
            get: |e| e.$($path).+.out(),
            set: |e, v| {
                e.$($path).+ = Held::take(v)?;
                Some(())
            },
        }
    };
}

impl Fields for Oscilloscope {
    const KIND: &'static str = "oscilloscope";
    const FIELDS: &'static [Field<Self>] = &[
        field!("label", Kind::Text, ["label"], label),
        field!("serial", Kind::Text, ["serial"], serial),
        field!("note", Kind::Text, ["note"], note),
    ];
}

impl Fields for Input {
    const KIND: &'static str = "input";
    const FIELDS: &'static [Field<Self>] = &[
        field!("label", Kind::Text, ["label"], label),
        field!(
            "resistance",
            Kind::Toleranced(Unit::Ohm),
            ["resistance_ohm", "resistance_tolerance_ohm"],
            resistance_ohm
        ),
        field!(
            "capacitance",
            Kind::Toleranced(Unit::Farad),
            ["capacitance_f", "capacitance_tolerance_f"],
            capacitance_f
        ),
        field!("bandwidth", Kind::Quantity(Unit::Hertz), ["bandwidth_hz"], bandwidth_hz),
        field!("response", Kind::Response, ["response"], response),
        field!("rated_voltage", Kind::Quantity(Unit::Volt), ["rated_voltage_v"], rated_voltage_v),
        field!("rated_voltage_kind", Kind::ValueKind, ["rated_voltage_kind"], rated_voltage_kind),
        field!("note", Kind::Text, ["note"], note),
    ];
}

impl Fields for Probe {
    const KIND: &'static str = "probe";
    const FIELDS: &'static [Field<Self>] = &[
        field!("label", Kind::Text, ["label"], label),
        field!("serial", Kind::Text, ["serial"], serial),
        field!("ratio", Kind::Number, ["ratio"], ratio),
        field!(
            "tip_resistance",
            Kind::Toleranced(Unit::Ohm),
            ["tip_resistance_ohm", "tip_resistance_tolerance_ohm"],
            tip_resistance_ohm
        ),
        field!(
            "tip_capacitance",
            Kind::Toleranced(Unit::Farad),
            ["tip_capacitance_f", "tip_capacitance_tolerance_f"],
            tip_capacitance_f
        ),
        field!(
            "series_resistance",
            Kind::Quantity(Unit::Ohm),
            ["series_resistance_ohm"],
            series_resistance_ohm
        ),
        field!("body_capacitance", Kind::Quantity(Unit::Farad), ["body_capacitance_f"], body_capacitance_f),
        field!(
            "compensation_range",
            Kind::Range(Unit::Farad),
            ["compensation_low_f", "compensation_high_f"],
            compensation_range_f
        ),
        field!("adjusted_at", Kind::Trimmer, ["adjusted_at"], adjusted_at),
        field!("bandwidth", Kind::Quantity(Unit::Hertz), ["bandwidth_hz"], bandwidth_hz),
        field!("voltage_rating", Kind::Rating, ["voltage_rating"], voltage_rating),
        field!("voltage_rating_kind", Kind::ValueKind, ["voltage_rating_kind"], voltage_rating_kind),
        field!("measurement_category", Kind::Category, ["measurement_category"], measurement_category),
        field!("category_voltage", Kind::Quantity(Unit::Volt), ["category_voltage_v"], category_voltage_v),
        field!("note", Kind::Text, ["note"], note),
        field!("cable.length", Kind::Quantity(Unit::Metre), ["cable_length_m"], cable.length_m),
        field!(
            "cable.capacitance_per_metre",
            Kind::Quantity(Unit::FaradPerMetre),
            ["cable_capacitance_f_per_m"],
            cable.capacitance_f_per_m
        ),
        field!(
            "cable.inductance_per_metre",
            Kind::Quantity(Unit::HenryPerMetre),
            ["cable_inductance_h_per_m"],
            cable.inductance_h_per_m
        ),
        field!(
            "cable.resistance_per_metre",
            Kind::Quantity(Unit::OhmPerMetre),
            ["cable_resistance_ohm_per_m"],
            cable.resistance_ohm_per_m
        ),
        field!(
            "box.series_resistance",
            Kind::Quantity(Unit::Ohm),
            ["box_series_resistance_ohm"],
            compensation_box.series_resistance_ohm
        ),
        field!(
            "box.capacitance",
            Kind::Quantity(Unit::Farad),
            ["box_capacitance_f"],
            compensation_box.capacitance_f
        ),
    ];
}

impl Fields for GroundAccessory {
    const KIND: &'static str = "ground accessory";
    const FIELDS: &'static [Field<Self>] = &[
        field!("label", Kind::Text, ["label"], label),
        field!("length", Kind::Quantity(Unit::Metre), ["length_m"], length_m),
        field!("inductance", Kind::Quantity(Unit::Henry), ["inductance_h"], inductance_h),
    ];
}

impl Fields for Pairing {
    const KIND: &'static str = "pairing";
    const FIELDS: &'static [Field<Self>] = &[
        field!("tolerance", Kind::Quantity(Unit::Ratio), ["tolerance"], tolerance),
        field!("recheck_interval", Kind::Days, ["recheck_interval_days"], recheck_interval_days),
    ];
}

/// The value as people type it; [`read`] gives back the same value to the last bit.
pub(crate) fn show(value: &Value, kind: Kind) -> String {
    match (value, kind) {
        (Value::Number(v), Kind::Quantity(unit)) => exact(*v, unit),
        (Value::Toleranced(t), Kind::Toleranced(unit)) => match t.tolerance {
            Some(half_width) => format!("{} ± {}", exact(t.value, unit), exact(half_width, unit)),
            None => exact(t.value, unit),
        },
        (Value::Range(r), Kind::Range(unit)) => format!("{} to {}", exact(r.low, unit), exact(r.high, unit)),
        (Value::Rating(points), _) => {
            let one = |p: &RatingPoint| {
                format!("{} at {}", exact(p.voltage_v, Unit::Volt), exact(p.frequency_hz, Unit::Hertz))
            };
            points.iter().map(one).collect::<Vec<_>>().join("; ")
        }
        (Value::Whole(days), _) => format!("{days} days"),
        (Value::Number(v), _) => format!("{v}"),
        (Value::Text(text), _) => text.clone(),
        // The tables above pair each kind with its value; what is left cannot be built by them.
        (Value::Toleranced(t), _) => format!("{}", t.value),
        (Value::Range(r), _) => format!("{} to {}", r.low, r.high),
    }
}

/// Reads a number of days as people type it: `90 days`, `13 weeks`.
///
/// # Errors
/// Neither days nor weeks.
pub fn days(text: &str) -> Result<u32, ValueError> {
    match read(text, Kind::Days)? {
        Value::Whole(days) if days > 0 => Ok(days),
        _ => Err(ValueError::Word {
            found: text.to_owned(),
            expected: "days or weeks, for example \"90 days\"",
        }),
    }
}

/// Reads a value as people type it.
pub(crate) fn read(text: &str, kind: Kind) -> Result<Value, ValueError> {
    let text = if kind == Kind::Text { text } else { text.trim() };
    let word = |expected| ValueError::Word { found: text.to_owned(), expected };
    match kind {
        Kind::Text => Ok(Value::Text(text.to_owned())),
        Kind::Quantity(unit) => Ok(Value::Number(quantity::parse(text, unit)?)),
        Kind::Toleranced(unit) => {
            let Some((value, half_width)) = text.split_once('±').or_else(|| text.split_once("+/-")) else {
                let value = quantity::parse(text, unit)?;
                return Ok(Value::Toleranced(Toleranced { value, tolerance: None }));
            };
            let value = quantity::parse(value.trim(), unit)?;
            let half_width = half_width.trim();
            let tolerance = if half_width.ends_with('%') || half_width.ends_with("ppm") {
                value.abs() * quantity::parse(half_width, Unit::Ratio)?
            } else {
                quantity::parse(half_width, unit)?
            };
            Ok(Value::Toleranced(Toleranced { value, tolerance: Some(tolerance) }))
        }
        Kind::Range(unit) => {
            let ends = text.split_once(" to ").or_else(|| text.split_once(".."));
            let (low, high) = ends.ok_or_else(|| word("both ends, for example \"10 pF to 25 pF\""))?;
            Ok(Value::Range(Range {
                low: quantity::parse(low.trim(), unit)?,
                high: quantity::parse(high.trim(), unit)?,
            }))
        }
        Kind::Number => {
            let number = text.trim_end_matches(['x', 'X', '×']).trim_end();
            let number = number.strip_suffix(":1").unwrap_or(number);
            let value: f64 = number.parse().map_err(|_| word("a number, for example 10"))?;
            Ok(Value::Number(value))
        }
        Kind::Days => {
            let expected = "days or weeks, for example \"90 days\"";
            let digits = text.bytes().take_while(u8::is_ascii_digit).count();
            let number: u32 = text[..digits].parse().map_err(|_| word(expected))?;
            let factor = match text[digits..].trim() {
                "" | "d" | "day" | "days" => 1,
                "week" | "weeks" => 7,
                _ => return Err(word(expected)),
            };
            Ok(Value::Whole(number.checked_mul(factor).ok_or_else(|| word(expected))?))
        }
        Kind::Response => read_response(text)
            .map(|shape| Value::Text(response_word(shape)))
            .ok_or_else(|| word("single-pole, gaussian, bessel-4, or maximally-flat-1 to maximally-flat-10")),
        Kind::Trimmer => read_trimmer(text)
            .map(|trimmer| Value::Text(trimmer_word(trimmer)))
            .ok_or_else(|| word("tip, base or fixed")),
        Kind::Category => read_category(text)
            .map(|category| Value::Text(category_word(category)))
            .ok_or_else(|| word("CAT II, CAT III or CAT IV, or leave it out for a probe rated for none")),
        Kind::ValueKind => {
            read_kind(text).map(|kind| Value::Text(kind_word(kind))).ok_or_else(|| word("peak, rms or dc"))
        }
        Kind::Rating => {
            let one = |part: &str| {
                let (voltage, frequency) = part.split_once(" at ").ok_or_else(|| {
                    word("voltages at frequencies, for example \"600 V at 0 Hz; 300 V at 10 MHz\"")
                })?;
                Ok(RatingPoint {
                    voltage_v: quantity::parse(voltage.trim(), Unit::Volt)?,
                    frequency_hz: quantity::parse(frequency.trim(), Unit::Hertz)?,
                })
            };
            text.split(';').map(one).collect::<Result<_, ValueError>>().map(Value::Rating)
        }
    }
}

/// The number with prefix and unit, with as many digits as bring it back exactly.
pub(crate) fn exact(value: f64, unit: Unit) -> String {
    // Shortest digits that mean this double; only the point moves, so they still do.
    let text = format!("{value:e}");
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let (power, symbol) = if unit == Unit::Ratio {
        (-2, " %".to_owned())
    } else {
        let power = if value == 0.0 { 0 } else { 3 * exponent.div_euclid(3) };
        let prefix = match power {
            12 => "T",
            9 => "G",
            6 => "M",
            3 => "k",
            0 => "",
            -3 => "m",
            -6 => "µ",
            -9 => "n",
            -12 => "p",
            -15 => "f",
            -18 => "a",
            _ => return format!("{value:e} {}", unit.symbol()),
        };
        (power, format!(" {prefix}{}", unit.symbol()))
    };
    let shift = exponent - power;
    if !(-4..=15).contains(&shift) {
        return format!("{mantissa}e{shift}{symbol}");
    }
    let (sign, digits) = match mantissa.strip_prefix('-') {
        Some(rest) => ("-", rest),
        None => ("", mantissa),
    };
    let digits: String = digits.chars().filter(|c| *c != '.').collect();
    // The point stands behind digit number shift + 1.
    let number = if shift < 0 {
        format!("0.{}{digits}", "0".repeat((-shift - 1) as usize))
    } else {
        let whole = shift as usize + 1;
        match digits.get(whole..).filter(|rest| !rest.is_empty()) {
            Some(rest) => format!("{}.{rest}", &digits[..whole]),
            None => format!("{digits}{}", "0".repeat(whole.saturating_sub(digits.len()))),
        }
    };
    format!("{sign}{number}{symbol}")
}

/// What goes into the columns of a field.
pub(crate) fn to_cells(value: Option<Value>, kind: Kind) -> Vec<Cell> {
    let real = |v: Option<f64>| v.map_or(Cell::Null, Cell::Real);
    match (value, kind) {
        (None, Kind::Toleranced(_) | Kind::Range(_)) => vec![Cell::Null, Cell::Null],
        (None, _) => vec![Cell::Null],
        (Some(Value::Text(text)), _) => vec![Cell::Text(text)],
        (Some(Value::Number(v)), _) => vec![Cell::Real(v)],
        (Some(Value::Whole(v)), _) => vec![Cell::Integer(i64::from(v))],
        (Some(Value::Toleranced(t)), _) => vec![Cell::Real(t.value), real(t.tolerance)],
        (Some(Value::Range(r)), _) => vec![Cell::Real(r.low), Cell::Real(r.high)],
        (Some(rating @ Value::Rating(_)), kind) => vec![Cell::Text(show(&rating, kind))],
    }
}

/// The inverse of [`to_cells`]; `Err` for cells that it never makes.
pub(crate) fn from_cells(cells: &[Cell], kind: Kind) -> Result<Option<Value>, ()> {
    Ok(Some(match (kind, cells) {
        (_, [Cell::Null] | [Cell::Null, Cell::Null]) => return Ok(None),
        (Kind::Quantity(_) | Kind::Number, [Cell::Real(v)]) => Value::Number(*v),
        (Kind::Days, [Cell::Integer(v)]) => Value::Whole(u32::try_from(*v).map_err(drop)?),
        (Kind::Toleranced(_), [Cell::Real(value), Cell::Null]) => {
            Value::Toleranced(Toleranced { value: *value, tolerance: None })
        }
        (Kind::Toleranced(_), [Cell::Real(value), Cell::Real(half_width)]) => {
            Value::Toleranced(Toleranced { value: *value, tolerance: Some(*half_width) })
        }
        (Kind::Range(_), [Cell::Real(low), Cell::Real(high)]) => {
            Value::Range(Range { low: *low, high: *high })
        }
        (Kind::Rating, [Cell::Text(text)]) => read(text, kind).map_err(drop)?,
        (
            Kind::Text | Kind::Response | Kind::Trimmer | Kind::Category | Kind::ValueKind,
            [Cell::Text(text)],
        ) => Value::Text(text.clone()),
        _ => return Err(()),
    }))
}

fn trimmer_word(trimmer: Trimmer) -> String {
    match trimmer {
        Trimmer::Tip => "tip",
        Trimmer::Base => "base",
        Trimmer::Fixed => "fixed",
    }
    .to_owned()
}

fn read_trimmer(text: &str) -> Option<Trimmer> {
    [Trimmer::Tip, Trimmer::Base, Trimmer::Fixed].into_iter().find(|t| trimmer_word(*t) == text)
}

fn category_word(category: MeasurementCategory) -> String {
    format!("CAT {}", category.word())
}

fn read_category(text: &str) -> Option<MeasurementCategory> {
    use MeasurementCategory::{Ii, Iii, Iv};
    [Ii, Iii, Iv].into_iter().find(|c| category_word(*c).eq_ignore_ascii_case(text))
}

fn kind_word(kind: ValueKind) -> String {
    kind.word().to_owned()
}

fn read_kind(text: &str) -> Option<ValueKind> {
    [ValueKind::Peak, ValueKind::Rms, ValueKind::Dc].into_iter().find(|k| k.word() == text)
}

fn response_word(shape: ResponseShape) -> String {
    match shape {
        ResponseShape::SinglePole => "single-pole".to_owned(),
        ResponseShape::Gaussian => "gaussian".to_owned(),
        ResponseShape::Bessel4 => "bessel-4".to_owned(),
        ResponseShape::MaximallyFlat(order) => format!("maximally-flat-{order}"),
    }
}

fn read_response(text: &str) -> Option<ResponseShape> {
    match text {
        "single-pole" => Some(ResponseShape::SinglePole),
        "gaussian" => Some(ResponseShape::Gaussian),
        "bessel-4" => Some(ResponseShape::Bessel4),
        _ => {
            let order: u8 = text.strip_prefix("maximally-flat-")?.parse().ok()?;
            (1..=10).contains(&order).then_some(ResponseShape::MaximallyFlat(order))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_as_people_write_them() {
        assert_eq!(exact(15e-12, Unit::Farad), "15 pF");
        assert_eq!(exact(9e6, Unit::Ohm), "9 MΩ");
        assert_eq!(exact(0.01, Unit::Ratio), "1 %");
        assert_eq!(exact(1.2, Unit::Metre), "1.2 m");
        assert_eq!(exact(0.09, Unit::Metre), "90 mm");
        assert_eq!(exact(0.0, Unit::Hertz), "0 Hz");
        assert_eq!(exact(2.5e-4, Unit::Ratio), "0.025 %");
    }

    #[test]
    fn texts_that_will_not_do() {
        let message = |text, kind| read(text, kind).unwrap_err().to_string();
        assert!(message("10 pF", Kind::Range(Unit::Farad)).contains("10 pF to 25 pF"));
        assert!(message("sometimes", Kind::Days).contains("90 days"));
        assert!(message("CAT I", Kind::Category).contains("CAT II"));
        assert!(message("600 V", Kind::Rating).contains("600 V at 0 Hz"));
        assert!(message("15 V ± 1 pF", Kind::Toleranced(Unit::Farad)).contains("a voltage"));
        assert_eq!(read("13 weeks", Kind::Days), Ok(Value::Whole(91)));
        assert_eq!(read("10x", Kind::Number), Ok(Value::Number(10.0)));
        assert_eq!(read("10:1", Kind::Number), Ok(Value::Number(10.0)));
        assert_eq!(
            read("200 pF +/- 5%", Kind::Toleranced(Unit::Farad)),
            Ok(Value::Toleranced(Toleranced { value: 200e-12, tolerance: Some(200e-12 * 0.05) }))
        );
    }

    proptest! {
        #[test]
        fn prop_exact_is_exact(bits in any::<u64>(), which in 0..Unit::ALL.len()) {
            let value = f64::from_bits(bits);
            prop_assume!(value.is_finite());
            let unit = Unit::ALL[which];
            let back = quantity::parse(&exact(value, unit), unit).unwrap();
            prop_assert_eq!(back.to_bits(), value.to_bits(), "{}", exact(value, unit));
        }

        #[test]
        fn prop_usual_sizes_too(mantissa in 1..100_000_u32, power in -20..14_i32, which in 0..Unit::ALL.len()) {
            let value: f64 = format!("{mantissa}e{power}").parse().unwrap();
            let unit = Unit::ALL[which];
            let back = quantity::parse(&exact(value, unit), unit).unwrap();
            prop_assert_eq!(back.to_bits(), value.to_bits(), "{}", exact(value, unit));
        }
    }
}
