//! Ratings and circuit of a plan in the core's terms.

use flattop_core::rating::{
    CategoryRating, Circuit, MeasurementCategory, RatedPart, Rating, RatingError, RatingPoint, Supply,
    ValueKind,
};
use flattop_plan::{Category, Connection, Input, Probe, RatedAs};

/// A rated voltage without a table holds up to here, Hz: above it, insulation is rated by other rules (IEC 60664-4).
const PLAIN_RATING_UP_TO_HZ: f64 = 30e3;

/// What counts as covered above that, V peak and rms, and up to where, Hz: voltages that are not hazardous live (IEC 61010-031).
/// Common practice, not an extension of the rating.
const HARMLESS: (f64, f64, f64) = (42.4, 30.0, 1e11);

/// The probe's curve and direct voltage, and the input's rated voltage behind the probe.
pub(crate) fn rated_parts(
    (probe_name, probe): (&str, &Probe),
    (input_name, input): (&str, &Input),
    ratio: f64,
) -> Result<Vec<RatedPart>, String> {
    let part = |name: &str, attenuation, rating, categories| RatedPart {
        name: name.to_owned(),
        attenuation,
        rating,
        categories,
    };
    let mut parts = Vec::new();
    let rating = probe.rating.as_ref();
    let categories: Vec<CategoryRating> = rating
        .and_then(|r| r.category)
        .and_then(|(word, voltage)| {
            Some(CategoryRating { category: category(word)?, voltage_v: voltage.value })
        })
        .into_iter()
        .collect();
    let curve = rating
        .and_then(|r| r.curve.as_ref())
        .map(|curve| {
            let points = curve.frequency_hz.iter().zip(&curve.voltage_v);
            let points = points.map(|(&frequency_hz, &voltage_v)| RatingPoint { frequency_hz, voltage_v });
            Rating::new(kind(curve.rated_as), points.collect())
                .map_err(|error| format!("[probe.rating] of {probe_name}: {error}"))
        })
        .transpose()?;
    parts.push(part(probe_name, 1.0, curve, categories));
    if let Some(dc) = rating.and_then(|r| r.dc) {
        let rating = direct(dc.value).map_err(|error| format!("[probe.rating] dc: {error}"))?;
        parts.push(part(&format!("{probe_name}, direct voltage"), 1.0, Some(rating), Vec::new()));
    }
    let rating = input
        .rated_voltage
        .map(|(voltage, rated_as)| {
            if rated_as == RatedAs::Dc {
                return direct(voltage.value).map_err(|error| format!("[input] rated_voltage: {error}"));
            }
            let (peak, rms, up_to) = HARMLESS;
            let harmless = if rated_as == RatedAs::Peak { peak } else { rms };
            let points = [
                (PLAIN_RATING_UP_TO_HZ, voltage.value),
                (PLAIN_RATING_UP_TO_HZ * (1.0 + 1e-9), voltage.value.min(harmless)),
                (up_to, voltage.value.min(harmless)),
            ];
            let points = points.map(|(frequency_hz, voltage_v)| RatingPoint { frequency_hz, voltage_v });
            Rating::new(kind(rated_as), points.to_vec())
                .map_err(|error| format!("[input] rated_voltage: {error}"))
        })
        .transpose()?;
    parts.push(part(input_name, ratio, rating, Vec::new()));
    Ok(parts)
}

/// The circuit under test; nothing said is not the same as earthed.
pub(super) fn circuit(plan: Option<&flattop_plan::Circuit>) -> Circuit {
    Circuit {
        supply: match plan.and_then(|c| c.connection) {
            Some(Connection::Earthed) => Supply::Isolated,
            Some(Connection::Floating) => Supply::Floating,
            Some(Connection::Mains) => Supply::Mains,
            None => Supply::NotStated,
        },
        category: plan.and_then(|c| c.category).and_then(category),
    }
}

/// A direct voltage, V.
fn direct(voltage_v: f64) -> Result<Rating, RatingError> {
    Rating::new(ValueKind::Dc, vec![RatingPoint { frequency_hz: 0.0, voltage_v }])
}

fn kind(rated_as: RatedAs) -> ValueKind {
    match rated_as {
        RatedAs::Peak => ValueKind::Peak,
        RatedAs::Rms => ValueKind::Rms,
        RatedAs::Dc => ValueKind::Dc,
    }
}

/// `None` for the old category I, which is "not rated" today.
fn category(word: Category) -> Option<MeasurementCategory> {
    match word {
        Category::I => None,
        Category::II => Some(MeasurementCategory::Ii),
        Category::III => Some(MeasurementCategory::Iii),
        Category::IV => Some(MeasurementCategory::Iv),
    }
}
