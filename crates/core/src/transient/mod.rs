//! Responses over time, exact at both ends of the time scale.
