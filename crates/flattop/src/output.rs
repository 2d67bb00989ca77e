//! Standard output and standard error: a reader that goes away early is no error.

use std::io::{ErrorKind, Write};

use crate::status::Ending;

/// Writes to standard output. A closed pipe counts as written.
pub(crate) fn print(bytes: &[u8]) -> Ending {
    let mut out = std::io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Ok(()) => Ending::Good,
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ending::Good,
        Err(error) => {
            complain(&format!(
                "standard output: cannot be written: {error}; check the space left where it goes"
            ));
            Ending::Unusable
        }
    }
}

/// Tells the user of something that went wrong.
pub(crate) fn complain(message: &str) {
    // With standard error gone there is nobody left to tell.
    let _ = writeln!(std::io::stderr().lock(), "error: {message}");
}
