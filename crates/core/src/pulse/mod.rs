//! Pulse figures of a waveform as IEEE Std 181 defines them.
