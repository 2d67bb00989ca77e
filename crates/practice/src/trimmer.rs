//! A trimmer capacitor under a screwdriver.
//!
//! | symbol | name here | unit | meaning |
//! | --- | --- | --- | --- |
//! | C | [`Trimmer::capacitance_f`] | F | least at the lower stop, most at the upper one, linear in the angle of the rotor |
//! | travel | [`TRAVEL_DEG`] | degrees | from stop to stop |
//! | play | [`PLAY_DEG`] | degrees | what the screwdriver turns before the rotor follows, after each change of direction |
//!
//! Linear in the angle, as the overlap of half-round plates is (common practice); the play is there for practice.

/// From stop to stop, degrees.
pub const TRAVEL_DEG: f64 = 270.0;
/// Free play of the screwdriver in its slot, degrees.
pub const PLAY_DEG: f64 = 2.0;
/// Farthest that one turn of the hand may go, degrees.
pub const MOST_TURN_DEG: f64 = 3600.0;

/// A stop of the rotor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// Least capacitance.
    Low,
    /// Most capacitance.
    High,
}

/// The trimmer of one probe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trimmer {
    /// Capacitance at the lower and the upper stop, F.
    range_f: (f64, f64),
    /// Angle of the rotor, 0 to [`TRAVEL_DEG`].
    angle_deg: f64,
    /// Where the screwdriver lies within its play: 0 against the left flank of the slot, [`PLAY_DEG`] against the right one.
    slack_deg: f64,
    /// What the hand has turned since the start, degrees.
    turned_deg: f64,
}

impl Trimmer {
    /// A trimmer that stands at `angle_deg`, kept within the travel. The screwdriver lies in the middle of its play.
    pub fn new(range_f: (f64, f64), angle_deg: f64) -> Self {
        let angle_deg = if angle_deg.is_finite() { angle_deg.clamp(0.0, TRAVEL_DEG) } else { 0.0 };
        Self { range_f, angle_deg, slack_deg: 0.5 * PLAY_DEG, turned_deg: 0.0 }
    }

    /// Turns the screwdriver: positive is clockwise, towards more capacitance. A stop holds the rotor; the hand slips.
    ///
    /// # Errors
    /// The angle is not finite or beyond [`MOST_TURN_DEG`]; nothing has been turned.
    pub fn turn(&mut self, by_deg: f64) -> Result<(), TurnError> {
        if !(by_deg.abs() <= MOST_TURN_DEG) {
            return Err(TurnError { by_deg });
        }
        self.turned_deg += by_deg;
        let free = self.slack_deg + by_deg;
        self.slack_deg = free.clamp(0.0, PLAY_DEG);
        self.angle_deg = (self.angle_deg + (free - self.slack_deg)).clamp(0.0, TRAVEL_DEG);
        Ok(())
    }

    /// Capacitance, F.
    pub fn capacitance_f(&self) -> f64 {
        let (least, most) = self.range_f;
        least + (most - least) * self.angle_deg / TRAVEL_DEG
    }

    /// The angle at which it would have a capacitance; `None` where it cannot.
    pub fn angle_of(&self, capacitance_f: f64) -> Option<f64> {
        let (least, most) = self.range_f;
        let share = (capacitance_f - least) / (most - least);
        (0.0..=1.0).contains(&share).then_some(share * TRAVEL_DEG)
    }

    /// Angle of the rotor from the lower stop, degrees.
    pub fn angle_deg(&self) -> f64 {
        self.angle_deg
    }

    /// What the hand has turned since the start, degrees.
    pub fn turned_deg(&self) -> f64 {
        self.turned_deg
    }

    /// Capacitance at the lower and the upper stop, F.
    pub fn range_f(&self) -> (f64, f64) {
        self.range_f
    }

    /// The stop at which the rotor stands.
    pub fn stop(&self) -> Option<Stop> {
        if self.angle_deg <= 0.0 {
            Some(Stop::Low)
        } else if self.angle_deg >= TRAVEL_DEG {
            Some(Stop::High)
        } else {
            None
        }
    }
}

/// A turn that no hand makes.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("a turn of {by_deg} degrees is none; at most {MOST_TURN_DEG} either way, for example \"turn -15\"")]
pub struct TurnError {
    /// What was asked for, degrees.
    pub by_deg: f64,
}

#[cfg(test)]
mod tests {
    use super::*;
    use flattop_close::{assert_close, within};
    use proptest::prelude::*;

    fn trimmer(angle_deg: f64) -> Trimmer {
        Trimmer::new((8e-12, 16e-12), angle_deg)
    }

    #[test]
    fn capacitance_follows_the_rotor() {
        assert_close!(trimmer(0.0).capacitance_f(), 8e-12, within(1e-20));
        assert_close!(trimmer(135.0).capacitance_f(), 12e-12, within(1e-20));
        assert_close!(trimmer(400.0).capacitance_f(), 16e-12, within(1e-20));
        assert_close!(trimmer(0.0).angle_of(10e-12).unwrap(), 67.5, within(1e-9));
        assert_eq!(trimmer(0.0).angle_of(17e-12), None);
        assert_eq!((trimmer(0.0).stop(), trimmer(270.0).stop()), (Some(Stop::Low), Some(Stop::High)));
    }

    #[test]
    fn play_is_taken_up_after_each_change_of_direction() {
        let mut one = trimmer(100.0);
        one.turn(10.0).unwrap();
        assert_close!(one.angle_deg(), 100.0 + 10.0 - 0.5 * PLAY_DEG, within(1e-12));
        let before = one.angle_deg();
        one.turn(-PLAY_DEG).unwrap();
        assert_close!(one.angle_deg(), before, within(1e-12));
        one.turn(-5.0).unwrap();
        assert_close!(one.angle_deg(), before - 5.0, within(1e-12));
        one.turn(PLAY_DEG + 3.0).unwrap();
        assert_close!(one.angle_deg(), before - 2.0, within(1e-12));
    }

    #[test]
    fn at_a_stop_the_hand_slips() {
        let mut one = trimmer(260.0);
        one.turn(50.0).unwrap();
        assert_eq!(one.stop(), Some(Stop::High));
        one.turn(-10.0 - PLAY_DEG).unwrap();
        assert_close!(one.angle_deg(), TRAVEL_DEG - 10.0, within(1e-9));
        assert_close!(one.turned_deg(), 38.0, within(1e-12));
        for bad in [f64::NAN, f64::INFINITY, -3601.0] {
            let before = one;
            assert!(one.turn(bad).is_err());
            assert_eq!(one, before);
        }
    }

    proptest! {
        #[test]
        fn prop_rotor_stays_within_its_travel_and_follows_within_the_play(
            start in 0.0..TRAVEL_DEG, turns in prop::collection::vec(-90.0f64..90.0, 1..20)
        ) {
            let mut one = trimmer(start);
            for by in turns {
                let before = one.angle_deg();
                one.turn(by).unwrap();
                let moved = one.angle_deg() - before;
                prop_assert!((0.0..=TRAVEL_DEG).contains(&one.angle_deg()));
                // Never against the hand, never farther than it, and short of it by no more than the play unless a stop holds.
                prop_assert!(moved * by >= -1e-9 && moved.abs() <= by.abs() + 1e-9);
                prop_assert!(one.stop().is_some() || by.abs() - moved.abs() <= PLAY_DEG + 1e-9);
            }
        }
    }
}
