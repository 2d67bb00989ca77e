//! The formula of a reading, apart from what the chain does.

use super::waveform::{Effects, ReadingError, Shown};
use super::{Measurand, Reading, Role, Which};
use crate::chain::{Chain, ResponseShape};

/// Forms that an input's response may have when nobody says which.
const FORMS: [ResponseShape; 5] = [
    ResponseShape::SinglePole,
    ResponseShape::Gaussian,
    ResponseShape::Bessel4,
    ResponseShape::MaximallyFlat(2),
    ResponseShape::MaximallyFlat(4),
];

/// What the inputs of one trial add up to, by their roles.
#[derive(Clone, Copy, Debug)]
pub(super) struct Terms {
    /// X less its estimate.
    pub(super) reading: f64,
    pub(super) noise: f64,
    /// 1 + g.
    pub(super) gain: f64,
    pub(super) offset: f64,
    pub(super) time_base: f64,
    pub(super) time: f64,
    pub(super) forms: [f64; 2],
}

/// What holds for one result in all trials.
#[derive(Clone, Copy, Debug)]
pub(super) struct Facts {
    /// At which frequency, Hz; NaN where that has no meaning.
    pub(super) frequency_hz: f64,
    /// K or D with all estimates, the form of response as in the chain.
    pub(super) nominal: f64,
    /// X, V or s.
    pub(super) shown: f64,
    /// d ln K/d ln f.
    pub(super) slope: f64,
    /// Middle and half-width of what forms of response do: of K over its nominal value, or of D less it.
    pub(super) forms: [(f64, f64); 2],
}

/// The formula for a reading.
#[derive(Clone, Copy, Debug)]
pub(super) struct Formula {
    pub(super) measurand: Measurand,
    noise_rms_v: f64,
    /// Mean of what is shown, V.
    mean_v: f64,
    /// What a volt makes of a time, s/V.
    time_per_volt: f64,
}

impl Formula {
    pub(super) fn new(reading: &Reading<'_>, shown: &Shown) -> Self {
        // Of a straight way from 10 to 90 %; noise moves both crossings.
        let time_per_volt = match (reading.measurand, shown.transition_s) {
            (Measurand::TransitionDuration | Measurand::Delay, Some(t)) => {
                2f64.sqrt() * t / (0.8 * shown.swing_v)
            }
            _ => 0.0,
        };
        Self {
            measurand: reading.measurand,
            noise_rms_v: reading.noise_rms_v,
            mean_v: shown.mean_v,
            time_per_volt,
        }
    }

    /// The true value, from K or D and the terms.
    pub(super) fn value(&self, facts: &Facts, effect: f64, terms: &Terms) -> f64 {
        let read = facts.shown + terms.reading + terms.noise;
        let form = |k: usize| facts.forms[k].0 + facts.forms[k].1 * terms.forms[k];
        match self.measurand {
            Measurand::Amplitude | Measurand::PeakToPeak => {
                read / (terms.gain * effect * form(0) * (1.0 + facts.slope * terms.time_base))
            }
            Measurand::Mean => (read - terms.offset) / (terms.gain * effect),
            Measurand::Rms => {
                (read * read - self.added(terms.offset)).sqrt() / (terms.gain * effect * form(0))
            }
            Measurand::TransitionDuration => {
                let time = self.time(facts, terms);
                (time * time - effect - form(0)).sqrt()
            }
            Measurand::Delay => self.time(facts, terms) - effect - (form(1) - form(0)),
        }
    }

    /// What noise and offset add to the square of an rms value, V².
    fn added(&self, offset_v: f64) -> f64 {
        self.noise_rms_v.powi(2) + 2.0 * offset_v * self.mean_v + offset_v * offset_v
    }

    fn time(&self, facts: &Facts, terms: &Terms) -> f64 {
        // A time that is read too long by b is shorter in truth.
        (facts.shown + terms.reading) * (1.0 - terms.time_base)
            - terms.time
            - self.time_per_volt * terms.noise
    }

    /// What is shown of a signal with this K or D, by the chain alone.
    fn shown(&self, reading: &Reading<'_>, effect: f64, shown: &Shown) -> f64 {
        let signal = reading.signal;
        let swing = (signal.high_v - signal.low_v).abs();
        match self.measurand {
            Measurand::Amplitude => 0.5 * swing * effect,
            Measurand::PeakToPeak => swing * effect,
            Measurand::Mean => shown.mean_v,
            Measurand::Rms => {
                let mean = 0.5 * (signal.low_v + signal.high_v);
                // Of a sine; of others by their shape.
                let true_rms = rms_of(reading).unwrap_or_else(|| (mean * mean + swing * swing / 8.0).sqrt());
                true_rms * effect
            }
            Measurand::TransitionDuration => shown.transition_s.unwrap_or(f64::NAN),
            Measurand::Delay => effect,
        }
    }

    /// The facts of one result.
    pub(super) fn facts(
        &self,
        reading: &Reading<'_>,
        frequency_hz: f64,
        shown: &Shown,
        effects: &mut BothEffects<'_>,
    ) -> Result<Facts, ReadingError> {
        let chains = Chains { first: reading.chain.clone(), second: reading.second.cloned() };
        let nominal = effects.of(&chains, frequency_hz)?;
        let slope = if self.measurand == Measurand::Amplitude {
            let mut beside = |factor: f64| effects.of_first(reading.chain, frequency_hz * factor);
            let (above, below) = (beside(1.001)?, beside(1.0 / 1.001)?);
            (above / below).ln() / (2.0 * 1.001f64.ln())
        } else {
            0.0
        };
        let neutral = if self.measurand.is_time() { 0.0 } else { 1.0 };
        let mut forms = [(neutral, 0.0); 2];
        for input in reading.inputs {
            let Role::Form(which) = input.role else { continue };
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for form in FORMS {
                let mut other = chains.clone();
                let Some(chain) = other.get(which) else { continue };
                chain.input.response.shape = form;
                let effect = effects.of(&other, frequency_hz)?;
                // Of a delay the two chains count with opposite signs.
                let part = match (self.measurand.is_time(), which) {
                    (true, Which::First) if self.measurand == Measurand::Delay => nominal - effect,
                    (true, _) => effect - nominal,
                    (false, _) => effect / nominal,
                };
                (low, high) = (low.min(part), high.max(part));
            }
            if low <= high {
                forms[usize::from(which == Which::Second)] = (0.5 * (low + high), 0.5 * (high - low));
            }
        }
        let shown = match reading.shown {
            Some(shown) => shown,
            // With all known errors in it, so that the correction leads back.
            None => {
                let means: Vec<f64> = reading.inputs.iter().map(|i| i.quantity.distribution.mean()).collect();
                let known = terms(reading, &means, &means);
                let alone = self.shown(reading, nominal, shown);
                let time = |of_chain: f64| (of_chain + known.time) / (1.0 - known.time_base);
                match self.measurand {
                    Measurand::Amplitude | Measurand::PeakToPeak => {
                        alone * forms[0].0 * known.gain * (1.0 + slope * known.time_base)
                    }
                    Measurand::Mean => alone * known.gain + known.offset,
                    Measurand::Rms => {
                        let of_signal = alone * forms[0].0 * known.gain;
                        (of_signal * of_signal + self.added(known.offset)).sqrt()
                    }
                    Measurand::TransitionDuration => time((alone * alone + forms[0].0).max(0.0).sqrt()),
                    Measurand::Delay => time(alone + forms[1].0 - forms[0].0),
                }
            }
        };
        Ok(Facts { frequency_hz, nominal, shown, slope, forms })
    }
}

/// Rms of the signal as the source has it, V.
fn rms_of(reading: &Reading<'_>) -> Option<f64> {
    use crate::signal::Shape;
    let signal = reading.signal;
    let (low, high) = (signal.low_v, signal.high_v);
    match &signal.shape {
        Shape::Trapezoid { frequency_hz, duty, rise_s, fall_s } => {
            // Levels, and ramps with a mean square of (a² + ab + b²)/3.
            let ramps = (rise_s + fall_s) * frequency_hz;
            let top = duty - 0.5 * ramps;
            let square = high * high * top
                + low * low * (1.0 - duty - 0.5 * ramps)
                + ramps * (low * low + low * high + high * high) / 3.0;
            Some(square.sqrt())
        }
        Shape::Points { time_s, value_v, .. } => {
            let span = time_s.last()? - time_s.first()?;
            let square: f64 = (1..time_s.len())
                .map(|k| {
                    let (a, b) = (value_v[k - 1], value_v[k]);
                    (time_s[k] - time_s[k - 1]) * (a * a + a * b + b * b) / 3.0
                })
                .sum();
            Some((square / span).sqrt())
        }
        _ => None,
    }
}

/// Both chains of a trial.
#[derive(Clone, Debug)]
pub(super) struct Chains {
    pub(super) first: Chain,
    pub(super) second: Option<Chain>,
}

impl Chains {
    pub(super) fn get(&mut self, which: Which) -> Option<&mut Chain> {
        match which {
            Which::First => Some(&mut self.first),
            Which::Second => self.second.as_mut(),
        }
    }

    /// Those of a trial whose inputs have these values.
    pub(super) fn at(reading: &Reading<'_>, means: &[f64], x: &[f64]) -> Self {
        let mut chains = Self { first: reading.chain.clone(), second: reading.second.cloned() };
        for ((input, x), mean) in reading.inputs.iter().zip(x).zip(means) {
            for step in &input.steps {
                if let Some(chain) = chains.get(step.of) {
                    let value = step.parameter.of(chain) + step.per_unit * (x - mean);
                    *chain = step.parameter.with(chain, value);
                }
            }
        }
        chains
    }
}

/// Effects of the first chain, and of the second one where there is one.
pub(super) struct BothEffects<'a> {
    first: Effects<'a>,
    second: Option<Effects<'a>>,
}

impl<'a> BothEffects<'a> {
    pub(super) fn new(reading: &Reading<'a>) -> Result<Self, ReadingError> {
        let of = |chain: &Chain| Effects::new(reading.measurand, reading.signal, chain);
        if reading.measurand == Measurand::Delay && reading.second.is_none() {
            return Err(ReadingError::NoSecond);
        }
        Ok(Self { first: of(reading.chain)?, second: reading.second.map(of).transpose()? })
    }

    pub(super) fn of_first(&mut self, chain: &Chain, frequency_hz: f64) -> Result<f64, ReadingError> {
        self.first.of(chain, frequency_hz)
    }

    pub(super) fn shown(&mut self, chain: &Chain) -> Result<Shown, ReadingError> {
        self.first.shown(chain)
    }

    /// K, D, or the delay of the second chain less that of the first one.
    pub(super) fn of(&mut self, chains: &Chains, frequency_hz: f64) -> Result<f64, ReadingError> {
        let first = self.first.of(&chains.first, frequency_hz)?;
        match (&mut self.second, &chains.second) {
            (Some(effects), Some(chain)) => Ok(effects.of(chain, frequency_hz)? - first),
            _ => Ok(first),
        }
    }
}

/// Adds up the inputs of a trial by their roles.
pub(super) fn terms(reading: &Reading<'_>, means: &[f64], x: &[f64]) -> Terms {
    let mut terms = Terms {
        reading: 0.0,
        noise: 0.0,
        gain: 1.0,
        offset: 0.0,
        time_base: 0.0,
        time: 0.0,
        forms: [0.0; 2],
    };
    for ((input, &x), mean) in reading.inputs.iter().zip(x).zip(means) {
        match input.role {
            Role::Chain => {}
            Role::Reading => terms.reading += x - mean,
            Role::Gain => terms.gain += x,
            Role::Temperature { gain_per_kelvin } => terms.gain += gain_per_kelvin * x,
            Role::Offset => terms.offset += x,
            Role::Noise => terms.noise += x,
            Role::TimeBase => terms.time_base += x,
            Role::Time => terms.time += x,
            Role::Form(which) => terms.forms[usize::from(which == Which::Second)] += x,
        }
    }
    terms
}
