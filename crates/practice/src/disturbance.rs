//! What a practice signal may have besides the wave, each with its limits.

use flattop_core::quantity::{self, Unit, format_engineering};

/// What disturbs the signal. All of it is nil in [`Disturbances::none`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disturbances {
    /// Standard deviation of the noise of a sample, V at the tip.
    pub noise_v: f64,
    /// Amplitude of the mains hum, V at the tip.
    pub hum_v: f64,
    /// Overshoot of the ringing after each edge, as a share of the step.
    pub ringing: f64,
    /// What a flat loses up to its end, as a share of the step.
    pub droop: f64,
    /// What creeps in late after each edge, as in a lossy dielectric, as a share of the step.
    pub hook: f64,
    /// Resolution of the converter, bits; 0 for one without steps.
    pub bits: u32,
}

/// One of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// [`Disturbances::noise_v`]
    Noise,
    /// [`Disturbances::hum_v`]
    Hum,
    /// [`Disturbances::ringing`]
    Ringing,
    /// [`Disturbances::droop`]
    Droop,
    /// [`Disturbances::hook`]
    Hook,
    /// [`Disturbances::bits`]
    Bits,
}

/// All of them, as they are named.
pub const KEYS: [(Key, &str); 6] = [
    (Key::Noise, "noise"),
    (Key::Hum, "hum"),
    (Key::Ringing, "ringing"),
    (Key::Droop, "droop"),
    (Key::Hook, "hook"),
    (Key::Bits, "bits"),
];

/// Most noise and most hum, V.
const MOST_V: f64 = 1.0;
/// Most ringing, droop and hook, as a share of the step.
const MOST_SHARE: f64 = 0.3;
/// Most droop: a flat that loses more is none.
const MOST_DROOP: f64 = 0.1;
/// Bits of a converter with steps.
const BITS: (u32, u32) = (6, 16);

/// A value that is none.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{key}: {reason}")]
pub struct DisturbanceError {
    /// Which.
    pub key: &'static str,
    /// What is wrong, and what to write instead.
    pub reason: String,
}

impl Disturbances {
    /// A clean signal on a converter without steps.
    pub const fn none() -> Self {
        Self { noise_v: 0.0, hum_v: 0.0, ringing: 0.0, droop: 0.0, hook: 0.0, bits: 0 }
    }

    /// An ordinary bench: a little noise, 12 bits.
    pub const fn usual() -> Self {
        Self { noise_v: 5e-3, bits: 12, ..Self::none() }
    }

    /// Sets one of them from text: "3 mV", "2 %", "12".
    ///
    /// # Errors
    /// It is no such quantity, or beyond its limits; nothing has changed.
    pub fn set(&mut self, key: Key, text: &str) -> Result<(), DisturbanceError> {
        let fail = |reason: String| DisturbanceError { key: key.name(), reason };
        let within = |unit: Unit, least: f64, most: f64| {
            let value = quantity::parse(text, unit).map_err(|error| fail(error.to_string()))?;
            if (least..=most).contains(&value) {
                return Ok(value);
            }
            Err(fail(format!(
                "\"{text}\" is out of range; from {} to {}",
                shown(least, unit),
                shown(most, unit)
            )))
        };
        match key {
            Key::Noise => self.noise_v = within(Unit::Volt, 0.0, MOST_V)?,
            Key::Hum => self.hum_v = within(Unit::Volt, 0.0, MOST_V)?,
            Key::Ringing => self.ringing = within(Unit::Ratio, 0.0, MOST_SHARE)?,
            Key::Droop => self.droop = within(Unit::Ratio, 0.0, MOST_DROOP)?,
            Key::Hook => self.hook = within(Unit::Ratio, -MOST_SHARE, MOST_SHARE)?,
            Key::Bits => {
                let bits: Option<u32> = text.trim().parse().ok();
                self.bits =
                    bits.filter(|bits| *bits == 0 || (BITS.0..=BITS.1).contains(bits)).ok_or_else(|| {
                        fail(format!(
                            "\"{text}\" is no resolution; {} to {} bits, or 0 for no steps",
                            BITS.0, BITS.1
                        ))
                    })?;
            }
        }
        Ok(())
    }

    /// One of them as text that [`set`](Self::set) takes.
    pub fn text(&self, key: Key) -> String {
        match key {
            Key::Noise => shown(self.noise_v, Unit::Volt),
            Key::Hum => shown(self.hum_v, Unit::Volt),
            Key::Ringing => shown(self.ringing, Unit::Ratio),
            Key::Droop => shown(self.droop, Unit::Ratio),
            Key::Hook => shown(self.hook, Unit::Ratio),
            Key::Bits => self.bits.to_string(),
        }
    }
}

fn shown(value: f64, unit: Unit) -> String {
    match unit {
        // Nine digits hide the binary tail and no more than a human wrote.
        Unit::Ratio => format!("{} %", (value * 1e11).round() / 1e9),
        unit => {
            let text = format_engineering(value, unit, 4);
            // "20 mV", not "20.00 mV".
            match text.split_once(' ') {
                Some((number, rest)) if number.contains('.') => {
                    format!("{} {rest}", number.trim_end_matches('0').trim_end_matches('.'))
                }
                _ => text,
            }
        }
    }
}

impl Key {
    /// Its name.
    pub fn name(self) -> &'static str {
        KEYS.iter().find(|(key, _)| *key == self).map_or("", |(_, name)| name)
    }

    /// The one of that name.
    pub fn named(name: &str) -> Option<Self> {
        KEYS.iter().find(|(_, known)| known.eq_ignore_ascii_case(name)).map(|(key, _)| *key)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};

    #[test]
    fn each_is_set_from_text_and_written_back() {
        let mut all = Disturbances::none();
        for (key, text) in [
            (Key::Noise, "3 mV"),
            (Key::Hum, "20mV"),
            (Key::Ringing, "5 %"),
            (Key::Droop, "0.02"),
            (Key::Hook, "-1%"),
            (Key::Bits, "8"),
        ] {
            all.set(key, text).unwrap();
        }
        assert_close!(all.noise_v, 3e-3, within(1e-15));
        assert_close!(all.hook, -0.01, within(1e-15));
        assert_eq!(all.bits, 8);
        let mut again = Disturbances::none();
        for (key, name) in KEYS {
            assert_eq!(Key::named(name), Some(key));
            again.set(key, &all.text(key)).unwrap();
        }
        assert_eq!(again, all);
        assert_eq!(all.text(Key::Droop), "2 %");
        assert_eq!(all.text(Key::Hum), "20 mV");
        assert_eq!(Disturbances::none().text(Key::Hum), "0 V");
    }

    #[test]
    fn what_cannot_be_says_why_and_changes_nothing() {
        let mut all = Disturbances::usual();
        for (key, text, part) in [
            (Key::Noise, "2 V", "0 V to 1"),
            (Key::Noise, "3 pF", "volt"),
            (Key::Droop, "20 %", "10 %"),
            (Key::Bits, "5", "6 to 16"),
            (Key::Bits, "many", "many"),
            (Key::Hum, "-1mV", "out of range"),
        ] {
            let error = all.set(key, text).unwrap_err().to_string();
            assert!(error.contains(part) && error.starts_with(key.name()), "{error}");
        }
        assert_eq!(all, Disturbances::usual());
    }
}
