//! Quantities are read as IEC 60062 and SI usage write them, refused with a remedy, and survive printing.

use super::*;
use flattop_close::{assert_close, relative, within};
use proptest::prelude::*;

fn check(text: &str, unit: Unit, expected: f64) {
    let got = parse(text, unit).unwrap_or_else(|e| panic!("{text:?}: {e}"));
    assert_close!(got, expected, relative(1e-15), "for {text:?}");
}

#[test]
fn usual_spellings_are_read() {
    for (text, unit, expected) in [
        ("15 pF", Unit::Farad, 15e-12),
        ("15p", Unit::Farad, 15e-12),
        ("15pF", Unit::Farad, 15e-12),
        ("1e-12", Unit::Farad, 1e-12),
        ("2p2", Unit::Farad, 2.2e-12),
        ("p33", Unit::Farad, 0.33e-12),
        ("9M", Unit::Ohm, 9e6),
        ("4k7", Unit::Ohm, 4700.0),
        ("4K7", Unit::Ohm, 4700.0),
        ("4k7Ω", Unit::Ohm, 4700.0),
        ("2M2", Unit::Ohm, 2.2e6),
        ("R47", Unit::Ohm, 0.47),
        ("47R", Unit::Ohm, 47.0),
        ("47R5", Unit::Ohm, 47.5),
        ("50 ohm", Unit::Ohm, 50.0),
        ("1 k\u{2126}", Unit::Ohm, 1000.0),
        ("9m", Unit::Ohm, 9e-3),
        ("1 MHz", Unit::Hertz, 1e6),
        ("1 mHz", Unit::Hertz, 1e-3),
        ("1us", Unit::Second, 1e-6),
        ("10 \u{b5}s", Unit::Second, 1e-5),
        ("10 \u{3bc}s", Unit::Second, 1e-5),
        ("3.3 V", Unit::Volt, 3.3),
        ("3V3", Unit::Volt, 3.3),
        ("3,3 V", Unit::Volt, 3.3),
        ("0,125 V", Unit::Volt, 0.125),
        ("\u{2212}2", Unit::Volt, -2.0),
        ("-.5 mV", Unit::Volt, -5e-4),
        ("+2e3mV", Unit::Volt, 2.0),
        ("1%", Unit::Ratio, 0.01),
        ("0,5 %", Unit::Ratio, 0.005),
        ("500 ppm", Unit::Ratio, 5e-4),
        ("0.02", Unit::Ratio, 0.02),
        ("1.2 m", Unit::Metre, 1.2),
        ("90 mm", Unit::Metre, 0.09),
        ("60 pF/m", Unit::FaradPerMetre, 6e-11),
        ("160 ohm/m", Unit::OhmPerMetre, 160.0),
        (" 20\u{a0}mA ", Unit::Ampere, 0.02),
    ] {
        check(text, unit, expected);
    }
}

#[test]
fn wrong_input_is_refused_with_expectation_and_example() {
    for (text, unit, message) in [
        (
            "15 pH",
            Unit::Farad,
            "\"15 pH\" is an inductance, but a capacitance was expected, for example 15 pF or 15p",
        ),
        (
            "1 kHz",
            Unit::Second,
            "\"1 kHz\" is a frequency, but a time was expected, for example 10 us or 1 ms",
        ),
        ("1%", Unit::Ohm, "\"1%\" is a ratio, but a resistance was expected, for example 9M, 4k7 or 50 ohm"),
        ("", Unit::Volt, "nothing given where a voltage was expected, for example 3.3 V or 500 mV"),
        (
            "high",
            Unit::Volt,
            "\"high\" is not a voltage: it holds no number; write for example 3.3 V or 500 mV",
        ),
        (
            "nan",
            Unit::Volt,
            "\"nan\" is not a voltage: it holds no number; write for example 3.3 V or 500 mV",
        ),
        (
            "5 parsec",
            Unit::Metre,
            "\"parsec\" in \"5 parsec\" is no unit of a length; write for example 1.2 m or 90 mm",
        ),
        (
            "1,000",
            Unit::Ohm,
            "the comma in \"1,000\" may be decimal or may group thousands: write 1.000 or 1000 instead",
        ),
        ("1e999", Unit::Volt, "\"1e999\" is too large for a voltage"),
    ] {
        let error = parse(text, unit).expect_err(text);
        assert_eq!(error.to_string(), message);
    }
    for text in [
        "1.2.3", "1..2", "4k7k", "4k7 pF", "R", "--2", "k", "1,2,3", "1,234.5", "4.7k5", "µ", "Ω", "47 R5",
        "0x10",
    ] {
        assert!(parse(text, Unit::Ohm).is_err(), "{text:?} was accepted");
    }
}

#[test]
fn dividers_are_two_positive_resistances() {
    let divider = parse_ratio_pair("9M:1M").expect("the usual divider");
    assert_close!([divider.tip_resistance_ohm, divider.shunt_resistance_ohm], [9e6, 1e6], within(0.0));
    assert!(matches!(parse_ratio_pair("10"), Err(QuantityError::NotAPair { .. })));
    assert!(matches!(parse_ratio_pair("9M:1M:1M"), Err(QuantityError::NotAPair { .. })));
    assert!(matches!(parse_ratio_pair("9M:0"), Err(QuantityError::NotPositive { .. })));
    assert!(matches!(parse_ratio_pair("9M:1 pF"), Err(QuantityError::OtherUnit { .. })));
}

#[test]
fn improbable_readings_are_remarked() {
    assert!(caution("1 mHz", Unit::Hertz).is_some());
    assert!(caution("9m", Unit::Ohm).is_some());
    assert!(caution("1", Unit::Ratio).is_some());
    assert!(caution("1%", Unit::Ratio).is_none());
    assert!(caution("0.01", Unit::Ratio).is_none());
    assert!(caution("9M", Unit::Ohm).is_none());
    assert!(caution("5 mV", Unit::Volt).is_none());
    assert!(caution("1.2 m", Unit::Metre).is_none());
}

#[test]
fn printing_follows_the_digits_and_the_uncertainty() {
    assert_eq!(format_engineering(8.1e-5, Unit::Second, 3), "81.0 µs");
    assert_eq!(format_engineering(4.6e-13, Unit::Farad, 2), "0.46 pF");
    assert_eq!(format_engineering(999.96, Unit::Ohm, 4), "1.000 kΩ");
    assert_eq!(format_engineering(1234.0, Unit::Ohm, 2), "1.2 kΩ");
    assert_eq!(format_engineering(-0.0731, Unit::Ratio, 3), "-7.31 %");
    assert_eq!(format_engineering(0.0, Unit::Volt, 3), "0 V");
    assert_eq!(format_engineering(f64::NAN, Unit::Volt, 3), "not a number V");
    assert_eq!(format_estimate(8.1e-5, 3e-7, Unit::Second), "81.00 µs ± 0.30 µs");
    assert_eq!(format_concise(8.1e-5, 3e-7, Unit::Second), "81.00(30) µs");
    assert_eq!(format_concise(-0.0731, 0.0004, Unit::Ratio), "-7.310(40) %");
    assert_eq!(format_concise(810.4, 123.0, Unit::Hertz), "810(120) Hz");
    assert_eq!(format_concise(12.34, 1.2, Unit::Volt), "12.3(12) V");
    assert_eq!(format_estimate(8.1e-5, 9.96e-7, Unit::Second), "81.0 µs ± 1.0 µs");
    assert_eq!(format_estimate(-1e-9, 2e-3, Unit::Volt), "0.0 mV ± 2.0 mV");
    assert_eq!(format_estimate(8.1e-5, 0.0, Unit::Second), "81.0000 µs");
    // JCGM 100:2008, 7.2.2, the 100 g weight: 100,021 47 g with 0,35 mg (from memory); here in volts.
    assert_eq!(format_concise(100.021_47, 0.000_35, Unit::Volt), "100.02147(35) V");
}

proptest! {
    #[test]
    fn prop_printing_then_reading_gives_the_printed_digits_back(
        mantissa in -9.999_999..9.999_999_f64, exponent in -16..12_i32, digits in 1..12_usize, which in 0..Unit::ALL.len(),
    ) {
        let (value, unit) = (mantissa * 10f64.powi(exponent), Unit::ALL[which]);
        let text = format_engineering(value, unit, digits);
        let back = parse(&text, unit).map_err(|e| TestCaseError::fail(e.to_string()))?;
        assert_close!(back, value, relative(0.500_001 * 10f64.powi(1 - digits as i32)), "{text}");
    }

    #[test]
    fn prop_estimates_keep_two_figures_of_the_uncertainty(
        value in -1e3..1e3_f64, size in -9.0..3.0_f64, which in 0..Unit::ALL.len(),
    ) {
        let (u, unit) = (10f64.powf(size), Unit::ALL[which]);
        let text = format_estimate(value, u, unit);
        let (left, right) = text.split_once(" ± ").ok_or_else(|| TestCaseError::fail(text.clone()))?;
        let read = |t: &str| parse(t, unit).map_err(|e| TestCaseError::fail(e.to_string()));
        assert_close!(read(right)?, u, relative(0.0501), "{text}");
        assert_close!(read(left)?, value, within(0.0501 * u), "{text}");
    }

    #[test]
    fn prop_no_text_panics(text in "\\PC{0,12}", which in 0..Unit::ALL.len()) {
        let _ = parse(&text, Unit::ALL[which]);
        let _ = parse_ratio_pair(&text);
    }
}
