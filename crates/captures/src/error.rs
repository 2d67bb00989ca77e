//! Errors of the readers: each names the file, the place in it, what was expected, what was found, and the remedy.

/// Why a capture could not be read. The text is meant for the person at the bench.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// The file could not be opened or mapped.
    #[error("{file}: cannot be opened: {reason}; check the name and that you may read the file")]
    Open {
        /// File as given.
        file: String,
        /// The operating system's words.
        reason: String,
    },
    /// There is nothing in the file.
    #[error("{file}: the file is empty (0 bytes); export the capture again")]
    Empty {
        /// File as given.
        file: String,
    },
    /// The content is no format that is read here.
    #[error(
        "{file}, byte {byte}: expected numbers as text, an NPY file or a WAV file (also packed with gzip or zstd), \
         found {found}; export the capture as comma-separated text"
    )]
    UnknownFormat {
        /// File as given.
        file: String,
        /// Position of what was found, from 0.
        byte: u64,
        /// What stands there.
        found: String,
    },
    /// Something is wrong on one line of a text file.
    #[error("{file}, line {line}: expected {expected}, found {found}; {remedy}")]
    Line {
        /// File as given.
        file: String,
        /// Physical line, from 1.
        line: u64,
        /// What should stand there.
        expected: String,
        /// What stands there.
        found: String,
        /// What to do about it.
        remedy: String,
    },
    /// Something is wrong at one byte of a binary or packed file.
    #[error("{file}, byte {byte}: expected {expected}, found {found}; {remedy}")]
    Byte {
        /// File as given.
        file: String,
        /// Position from 0, in the file after unpacking where it is packed.
        byte: u64,
        /// What should stand there.
        expected: String,
        /// What stands there.
        found: String,
        /// What to do about it.
        remedy: String,
    },
    /// Something is wrong with one row of samples in a binary file.
    #[error("{file}, sample {sample}: expected {expected}, found {found}; {remedy}")]
    Sample {
        /// File as given.
        file: String,
        /// Sample number, from 1.
        sample: u64,
        /// What should stand there.
        expected: String,
        /// What stands there.
        found: String,
        /// What to do about it.
        remedy: String,
    },
    /// Nothing in the file gives the time between samples.
    #[error("{file}: no time between samples: {found}; pass it with --interval, for example --interval 1us")]
    NoInterval {
        /// File as given.
        file: String,
        /// What was looked at.
        found: String,
    },
    /// Too few samples for any use.
    #[error("{file}: expected at least {expected} points, found {found}; {remedy}")]
    TooFewPoints {
        /// File as given.
        file: String,
        /// Least number of points.
        expected: usize,
        /// Number of points.
        found: usize,
        /// What to do about it.
        remedy: String,
    },
    /// The asked column is not there or cannot be used.
    #[error("{file}: {option} {asked}: {reason}; the columns are {listing}")]
    Column {
        /// File as given.
        file: String,
        /// The option that asked.
        option: &'static str,
        /// Number asked for, from 1.
        asked: usize,
        /// Why it cannot be used.
        reason: String,
        /// All columns with number and name.
        listing: String,
    },
    /// The given interval is no interval.
    #[error("{file}: --interval: expected a time above zero, found {found}; for example --interval 1us")]
    BadInterval {
        /// File as given.
        file: String,
        /// What was given.
        found: String,
    },
    /// Unpacking gives more than is sensible.
    #[error("{file}: unpacks to more than {limit}, which no capture does; check where the file comes from")]
    TooLarge {
        /// File as given.
        file: String,
        /// The limit in words.
        limit: String,
    },
}
