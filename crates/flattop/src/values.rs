//! Values as typed on the command line: each parser returns SI units, or says what was expected.

use std::path::{Path, PathBuf};

use flattop_core::bench::Moment;
use flattop_core::divider::Divider;
use flattop_core::quantity::{self, Unit};

/// A time with its offset, such as `2026-11-25T16:17:06+01:00`.
pub(crate) fn moment(text: &str) -> Result<Moment, String> {
    flattop_register::time::read(text.trim()).map_err(|error| error.to_string())
}

/// A day such as `2026-11-25`, from its first moment here, or a time with its offset; ms since 1970 UTC.
pub(crate) fn since(text: &str) -> Result<i64, String> {
    if let Ok(day) = text.trim().parse::<jiff::civil::Date>()
        && text.trim().len() == "2026-11-25".len()
    {
        let start = jiff::tz::TimeZone::system().to_timestamp(day.at(0, 0, 0, 0));
        return start.map(jiff::Timestamp::as_millisecond).map_err(|e| format!("\"{text}\": {e}"));
    }
    moment(text).map(|at| at.unix_ms).map_err(|_| {
        format!("\"{text}\" is no day and no time; write 2026-11-25, or 2026-11-25T16:17:06+01:00")
    })
}

/// Frequencies such as `1k,10k,1M`, or `1k:100M:101` spread evenly on a logarithmic scale.
pub(crate) fn frequencies(text: &str) -> Result<Vec<f64>, String> {
    let parts: Vec<&str> = text.split(':').collect();
    let [start, stop, count] = parts[..] else {
        return text.split(',').map(|part| hertz(part.trim())).collect();
    };
    let (start, stop) = (hertz(start)?, hertz(stop)?);
    match count.trim().parse::<u32>() {
        Ok(count) if start < stop && (2..=100_000).contains(&count) => {
            let last = f64::from(count - 1);
            Ok((0..count).map(|k| start * (stop / start).powf(f64::from(k) / last)).collect())
        }
        _ => Err(format!(
            "\"{text}\" is no range of frequencies; write START:STOP:COUNT with COUNT from 2, for example 1k:100M:101"
        )),
    }
}

/// A value with or without its tolerance, such as `2.3ns+-0.1ns`: value and half-width.
fn with_half_width(text: &str, read: impl Fn(&str) -> Result<f64, String>) -> Result<(f64, f64), String> {
    let parts = text.split_once('±').or_else(|| text.split_once("+/-")).or_else(|| text.split_once("+-"));
    match parts {
        None => Ok((read(text.trim())?, 0.0)),
        Some((value, half_width)) => Ok((read(value.trim())?, read(half_width.trim())?.abs())),
    }
}

/// A time of either sign, with or without its tolerance, s.
pub(crate) fn signed_seconds(text: &str) -> Result<(f64, f64), String> {
    with_half_width(text, |part| parse(part, Unit::Second))
}

/// A gain over another, with or without its tolerance.
pub(crate) fn gain_ratio(text: &str) -> Result<(f64, f64), String> {
    let (value, half_width) = with_half_width(text, |part| parse(part, Unit::Ratio))?;
    if (0.5..=2.0).contains(&value) {
        Ok((value, half_width))
    } else {
        Err(format!(
            "\"{text}\" is no gain of B over that of A, which is near 1; write for example 0.998+-0.002"
        ))
    }
}

/// Frequency and lag of a power such as `100kHz:60`: Hz and degrees.
pub(crate) fn power(text: &str) -> Result<(f64, f64), String> {
    let wrong =
        || format!("\"{text}\" is no power; write frequency and lag of the current in degrees: 100kHz:60");
    let (frequency, lag) = text.split_once(':').ok_or_else(wrong)?;
    let lag: f64 =
        lag.trim().trim_end_matches(['°']).trim_end_matches("deg").trim().parse().map_err(|_| wrong())?;
    if lag.abs() < 89.99 {
        Ok((hertz(frequency)?, lag))
    } else {
        Err(format!("\"{text}\": at 90° there is no power to be wrong about; give less"))
    }
}

/// Voltage and current of an edge such as `400V:10A`.
pub(crate) fn switching(text: &str) -> Result<(f64, f64), String> {
    let wrong = || format!("\"{text}\" is no edge; write its voltage and its current: 400V:10A");
    let (voltage, current) = text.split_once(':').ok_or_else(wrong)?;
    let amperes = parse(current, Unit::Ampere)?;
    if amperes > 0.0 { Ok((volts(voltage)?, amperes)) } else { Err(wrong()) }
}

/// A temperature such as `23`, `23.5 °C` or `23C`, °C.
pub(crate) fn celsius(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches("°C").trim_end_matches('C').trim_end();
    match number.parse::<f64>() {
        Ok(value) if (-90.0..=100.0).contains(&value) => Ok(value),
        _ => Err(format!("\"{text}\" is no temperature of a room in °C; write for example 23")),
    }
}

/// Days or weeks such as `90 days`, in days.
pub(crate) fn days(text: &str) -> Result<u32, String> {
    flattop_register::days(text).map_err(|error| error.to_string())
}

/// A divider such as `9M:1M`.
pub(crate) fn divider(text: &str) -> Result<Divider, String> {
    for part in text.split(':') {
        refuse_slip(part, Unit::Ohm)?;
    }
    quantity::parse_ratio_pair(text).map_err(|error| error.to_string())
}

/// A tolerance such as `1%`: above zero, below one.
pub(crate) fn tolerance(text: &str) -> Result<f64, String> {
    refuse_slip(text, Unit::Ratio)?;
    let ratio = parse(text, Unit::Ratio)?;
    if ratio > 0.0 && ratio < 1.0 {
        Ok(ratio)
    } else {
        Err(format!("\"{text}\" is not between 0 and 100 %; write for example 1% or 0.01"))
    }
}

/// A resistor tolerance such as `1%`: from nil, below one.
pub(crate) fn resistor_tolerance(text: &str) -> Result<f64, String> {
    refuse_slip(text, Unit::Ratio)?;
    let ratio = parse(text, Unit::Ratio)?;
    if (0.0..1.0).contains(&ratio) {
        Ok(ratio)
    } else {
        Err(format!("\"{text}\" is not between 0 and 100 %; write for example 1% or 0.01"))
    }
}

/// The number of a column, counted from 1.
pub(crate) fn column(text: &str) -> Result<u16, String> {
    match text.trim().parse() {
        Ok(number) if number > 0 => Ok(number),
        _ => Err(format!("\"{text}\" is no column; write a column number such as 2, counted from 1")),
    }
}

/// A duration above zero such as `1us`.
pub(crate) fn seconds(text: &str) -> Result<f64, String> {
    positive(text, Unit::Second)
}

/// A frequency above zero such as `1kHz`.
pub(crate) fn hertz(text: &str) -> Result<f64, String> {
    refuse_slip(text, Unit::Hertz)?;
    positive(text, Unit::Hertz)
}

/// A voltage above zero such as `3.3V`.
pub(crate) fn volts(text: &str) -> Result<f64, String> {
    positive(text, Unit::Volt)
}

/// A reading with the step that its last significant digit stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Reading {
    /// What was read, in SI units or divisions.
    pub(crate) value: f64,
    /// One step of the last significant digit typed; zeros at the end of a whole number do not count.
    pub(crate) last_digit: f64,
    /// What a level was read in.
    pub(crate) scale: Scale,
}

/// What a level was read in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scale {
    /// Divisions of the screen.
    Divisions,
    /// SI units.
    Units,
}

/// A level read off a screen: a number of divisions, or a voltage such as `460 mV`.
pub(crate) fn level(text: &str) -> Result<Reading, String> {
    let trimmed = text.trim();
    let bare = trimmed.strip_suffix("div").unwrap_or(trimmed).trim();
    let scale = if bare.ends_with(['V', 'v']) { Scale::Units } else { Scale::Divisions };
    match parse(bare, Unit::Volt) {
        Ok(value) if value > 0.0 => Ok(Reading { value, last_digit: last_digit(bare, value), scale }),
        Ok(_) => {
            Err(format!("\"{text}\" is not above zero; levels count upwards from the level before the edge"))
        }
        Err(_) => Err(format!(
            "\"{text}\" is not a level; write divisions, for example 4.6, or a voltage, for example 460mV"
        )),
    }
}

/// A time read off a screen.
pub(crate) fn time_read(text: &str) -> Result<Reading, String> {
    let value = seconds(text)?;
    Ok(Reading { value, last_digit: last_digit(text.trim(), value), scale: Scale::Units })
}

/// One step of the last significant digit of a number above zero, scaled as its prefix scales the number.
fn last_digit(text: &str, value: f64) -> f64 {
    let mantissa: String = text
        .chars()
        .take_while(|c| c.is_ascii_digit() || matches!(c, '.' | ','))
        .collect::<String>()
        .replace(',', ".");
    let decimals = mantissa.split_once('.').map_or(0, |(_, places)| places.len() as i32);
    let zeros = mantissa.chars().rev().take_while(|c| *c == '0').count() as i32;
    let power = if decimals > 0 { -decimals } else { zeros };
    match mantissa.parse::<f64>() {
        Ok(number) if number > 0.0 => 10f64.powi(power) * (value / number),
        // A number in a form of its own, such as a prefix in the place of the point: a tenth of it.
        _ => 0.1 * value,
    }
}

/// How far a value may be off: by so much, or by a share of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Deviation {
    /// In SI units.
    Absolute(f64),
    /// Of the value.
    Share(f64),
}

impl Deviation {
    /// In the unit of the value, half-width.
    pub(crate) fn of(self, value: f64) -> f64 {
        match self {
            Self::Absolute(half_width) => half_width,
            Self::Share(share) => share * value,
        }
    }
}

/// A capacitance with its tolerance, where one was typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Tolerated {
    /// F.
    pub(crate) nominal_f: f64,
    /// Half-width.
    pub(crate) deviation: Option<Deviation>,
}

/// A capacitance above zero such as `15pF`.
pub(crate) fn farads(text: &str) -> Result<f64, String> {
    let value = positive(text, Unit::Farad)?;
    // Nothing at a probe or an input comes near; a number without a unit does.
    if value < 1e-6 {
        Ok(value)
    } else {
        Err(format!(
            "\"{text}\" was read as {value} farads; write the unit, for example {}",
            Unit::Farad.example()
        ))
    }
}

/// How far a capacitance may be off, such as `2pF` or `10%`; nil counts as exact.
pub(crate) fn deviation(text: &str) -> Result<Deviation, String> {
    if ["%", "ppm"].iter().any(|unit| text.trim_end().ends_with(unit)) {
        return resistor_tolerance(text).map(Deviation::Share);
    }
    farads_or_nil(text).map(Deviation::Absolute)
}

/// A capacitance from nil, such as `0pF` or `2pF`.
pub(crate) fn farads_or_nil(text: &str) -> Result<f64, String> {
    // A nil has no unit to be wrong about.
    if parse(text, Unit::Farad)?.abs() > 0.0 { farads(text) } else { Ok(0.0) }
}

/// A capacitance with or without its tolerance, such as `20pF`, `20 pF ± 2 pF`, `20pF+-10%`.
pub(crate) fn tolerated_farads(text: &str) -> Result<Tolerated, String> {
    let parts = text.split_once('±').or_else(|| text.split_once("+/-")).or_else(|| text.split_once("+-"));
    let Some((nominal, half_width)) = parts else {
        return Ok(Tolerated { nominal_f: farads(text)?, deviation: None });
    };
    let (nominal_f, deviation) = (farads(nominal)?, deviation(half_width)?);
    if deviation.of(nominal_f) < nominal_f {
        Ok(Tolerated { nominal_f, deviation: Some(deviation) })
    } else {
        Err(format!("\"{text}\" leaves nothing at its lower end; write for example 20pF+-2pF or 20pF+-10%"))
    }
}

/// The limits of a compensation range such as `8pF:18pF`, F.
pub(crate) fn farad_range(text: &str) -> Result<(f64, f64), String> {
    let Some((least, most)) = text.split_once(':').filter(|(_, rest)| !rest.contains(':')) else {
        return Err(format!(
            "\"{text}\" is no range; write its limits with a colon between, for example 8pF:18pF"
        ));
    };
    let limits = (farads_or_nil(least)?, farads(most)?);
    if limits.0 <= limits.1 {
        Ok(limits)
    } else {
        Err(format!("\"{text}\" runs downwards; exchange its limits: {}:{}", most.trim(), least.trim()))
    }
}

/// Settings of single keys such as `node.resistance=1M`: key and value.
pub(crate) fn settings(typed: &[String]) -> Result<Vec<(&str, &str)>, String> {
    typed
        .iter()
        .map(|text| {
            text.split_once('=').ok_or_else(|| {
                format!("--set \"{text}\" has no \"=\"; write for example --set node.resistance=1M")
            })
        })
        .collect()
}

/// The text of a plan or a list.
#[allow(clippy::disallowed_methods)] // reading files is the program's part
pub(crate) fn read_text(file: &Path) -> Result<String, String> {
    let bytes = std::fs::read(file).map_err(|error| {
        format!("{}: cannot be read: {error}; check the name and the permissions", file.display())
    })?;
    String::from_utf8(bytes)
        .map_err(|_| format!("{}: is not text in UTF-8, as TOML has to be; save it as UTF-8", file.display()))
}

/// The name of a drawing, which has to end in `.svg` or `.png`.
pub(crate) fn drawing(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let known =
        |extension: &str| extension.eq_ignore_ascii_case("svg") || extension.eq_ignore_ascii_case("png");
    let stem = path.file_stem().is_some();
    match path.extension().and_then(|extension| extension.to_str()) {
        Some(extension) if stem && known(extension) => Ok(path),
        _ => Err(format!("\"{text}\" does not say which drawing is wanted; end the name in .svg or .png")),
    }
}

/// No divider has milliohms, no calibrator millihertz, and nobody accepts an error of a half: what the core only remarks
/// on is a slip here, and the user is there to mend it.
fn refuse_slip(text: &str, unit: Unit) -> Result<(), String> {
    match quantity::caution(text, unit) {
        Some(finding) => Err(format!("{}; {}", finding.message, finding.remedy)),
        None => Ok(()),
    }
}

fn positive(text: &str, unit: Unit) -> Result<f64, String> {
    let value = parse(text, unit)?;
    if value > 0.0 {
        Ok(value)
    } else {
        Err(format!("\"{text}\" is not above zero; write for example {}", unit.example()))
    }
}

fn parse(text: &str, unit: Unit) -> Result<f64, String> {
    quantity::parse(text, unit).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use flattop_close::{assert_close, relative};

    use super::*;

    #[test]
    fn values_arrive_in_si_units() {
        assert_close!(tolerance("1%").unwrap(), 0.01, relative(1e-12));
        assert_close!(seconds("1us").unwrap(), 1e-6, relative(1e-12));
        assert_close!(divider("9M:1M").unwrap().dc_gain(), 0.1, relative(1e-12));
        assert_close!(level("4.60 div").unwrap().last_digit, 0.01, relative(1e-9));
        assert_close!(level("460mV").unwrap().last_digit, 0.01, relative(1e-9));
        assert_close!(level("461mV").unwrap().last_digit, 0.001, relative(1e-9));
        assert_eq!(level("461mV").unwrap().scale, Scale::Units);
        assert_eq!(level("5").unwrap().scale, Scale::Divisions);
        assert_close!(time_read("80us").unwrap().last_digit, 1e-5, relative(1e-9));
        assert_close!(time_read("0.085 ms").unwrap().last_digit, 1e-6, relative(1e-9));
        assert_eq!(column("2").unwrap(), 2);
        assert_close!(farads("15p").unwrap(), 15e-12, relative(1e-12));
        assert_eq!(farad_range("8 pF : 18 pF").unwrap(), (8e-12, 18e-12));
        assert_eq!(farad_range("0:18pF").unwrap(), (0.0, 18e-12));
        for text in ["20pF ± 2pF", "20 pF+-2 pF", "20p+/-10%", "20pF±10 %"] {
            let input = tolerated_farads(text).unwrap();
            let half_width = input.deviation.unwrap().of(input.nominal_f);
            assert_close!(half_width, 2e-12, relative(1e-12), "{text}");
        }
        assert_eq!(tolerated_farads("20pF").unwrap().deviation, None);
        assert_eq!(drawing("a/b.SVG").unwrap(), PathBuf::from("a/b.SVG"));
    }

    #[test]
    fn what_makes_no_sense_is_refused_with_the_remedy() {
        for (message, part) in [
            (tolerance("1").unwrap_err(), "was read as 100 %; write a % sign"),
            (tolerance("0%").unwrap_err(), "not between"),
            (resistor_tolerance("-1%").unwrap_err(), "not between"),
            (divider("9m:1M").unwrap_err(), "write a capital M"),
            (hertz("1mHz").unwrap_err(), "write a capital M"),
            (seconds("0s").unwrap_err(), "not above zero"),
            (volts("3 Hz").unwrap_err(), "a voltage was expected"),
            (level("0").unwrap_err(), "not above zero"),
            (level("-4").unwrap_err(), "not above zero"),
            (column("x").unwrap_err(), "write a column number such as 2"),
            (column("0").unwrap_err(), "counted from 1"),
            (column("-1").unwrap_err(), "write a column number such as 2"),
            (level("4 kg").unwrap_err(), "write divisions"),
            (farads("15").unwrap_err(), "was read as 15 farads; write the unit"),
            (farads("0pF").unwrap_err(), "not above zero"),
            (farads("15 Hz").unwrap_err(), "a capacitance was expected"),
            (farad_range("18pF:8pF").unwrap_err(), "exchange its limits: 8pF:18pF"),
            (farad_range("8:18pF").unwrap_err(), "write the unit"),
            (farad_range("8pF-18pF").unwrap_err(), "8pF:18pF"),
            (farad_range("8pF:12pF:18pF").unwrap_err(), "8pF:18pF"),
            (tolerated_farads("20pF+-20pF").unwrap_err(), "leaves nothing"),
            (tolerated_farads("20pF+-2").unwrap_err(), "write the unit"),
            (deviation("-2pF").unwrap_err(), "not above zero"),
            (deviation("100%").unwrap_err(), "not between"),
            (drawing("plot.pdf").unwrap_err(), ".svg or .png"),
            (drawing(".svg").unwrap_err(), ".svg or .png"),
        ] {
            assert!(message.contains(part), "{message}");
        }
    }
}
