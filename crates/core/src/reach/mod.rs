//! Whether a probe's compensation range contains an input's capacitance.
