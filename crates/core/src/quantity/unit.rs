//! The units that can be typed, with their symbols and an example each.

/// What kind of quantity is expected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Resistance, Ω.
    Ohm,
    /// Capacitance, F.
    Farad,
    /// Inductance, H.
    Henry,
    /// Frequency, Hz.
    Hertz,
    /// Voltage, V.
    Volt,
    /// Current, A.
    Ampere,
    /// Time, s.
    Second,
    /// Length, m.
    Metre,
    /// A number without a unit, a percentage or parts per million.
    Ratio,
    /// Resistance per length, Ω/m.
    OhmPerMetre,
    /// Capacitance per length, F/m.
    FaradPerMetre,
    /// Inductance per length, H/m.
    HenryPerMetre,
}

impl Unit {
    /// All units.
    pub const ALL: [Unit; 12] = [
        Unit::Ohm,
        Unit::Farad,
        Unit::Henry,
        Unit::Hertz,
        Unit::Volt,
        Unit::Ampere,
        Unit::Second,
        Unit::Metre,
        Unit::Ratio,
        Unit::OhmPerMetre,
        Unit::FaradPerMetre,
        Unit::HenryPerMetre,
    ];

    /// Symbol as printed.
    pub fn symbol(self) -> &'static str {
        self.symbols().first().copied().unwrap_or("")
    }

    /// Quantity with its article, for messages.
    pub fn quantity(self) -> &'static str {
        match self {
            Unit::Ohm => "a resistance",
            Unit::Farad => "a capacitance",
            Unit::Henry => "an inductance",
            Unit::Hertz => "a frequency",
            Unit::Volt => "a voltage",
            Unit::Ampere => "a current",
            Unit::Second => "a time",
            Unit::Metre => "a length",
            Unit::Ratio => "a ratio",
            Unit::OhmPerMetre => "a resistance per length",
            Unit::FaradPerMetre => "a capacitance per length",
            Unit::HenryPerMetre => "an inductance per length",
        }
    }

    /// Something that can be typed, for messages.
    pub fn example(self) -> &'static str {
        match self {
            Unit::Ohm => "9M, 4k7 or 50 ohm",
            Unit::Farad => "15 pF or 15p",
            Unit::Henry => "150 nH",
            Unit::Hertz => "1 kHz or 100 MHz",
            Unit::Volt => "3.3 V or 500 mV",
            Unit::Ampere => "20 mA",
            Unit::Second => "10 us or 1 ms",
            Unit::Metre => "1.2 m or 90 mm",
            Unit::Ratio => "1%, 500 ppm or 0.01",
            Unit::OhmPerMetre => "160 ohm/m",
            Unit::FaradPerMetre => "60 pF/m",
            Unit::HenryPerMetre => "330 nH/m",
        }
    }

    /// Every accepted spelling of the symbol, the printed one first.
    pub(super) fn symbols(self) -> &'static [&'static str] {
        match self {
            // U+03A9 and U+2126 look alike.
            Unit::Ohm => &["Ω", "\u{2126}", "ohm", "Ohm", "ohms", "R"],
            Unit::Farad => &["F"],
            Unit::Henry => &["H"],
            Unit::Hertz => &["Hz", "hz"],
            Unit::Volt => &["V"],
            Unit::Ampere => &["A"],
            Unit::Second => &["s"],
            Unit::Metre => &["m"],
            Unit::Ratio => &[],
            Unit::OhmPerMetre => &["Ω/m", "\u{2126}/m", "ohm/m", "Ohm/m"],
            Unit::FaradPerMetre => &["F/m"],
            Unit::HenryPerMetre => &["H/m"],
        }
    }
}

/// Prefixes with their powers of ten. The first spelling of a power is the printed one.
pub(super) const PREFIXES: [(char, i32); 13] = [
    ('T', 12),
    ('G', 9),
    ('M', 6),
    ('k', 3),
    ('K', 3),
    ('m', -3),
    ('µ', -6),       // U+00B5 micro sign
    ('\u{3bc}', -6), // Greek letter mu
    ('u', -6),
    ('n', -9),
    ('p', -12),
    ('f', -15),
    ('a', -18),
];
