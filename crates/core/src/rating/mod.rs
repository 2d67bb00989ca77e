//! Rated voltage against frequency, and the cautions that go with a signal.
