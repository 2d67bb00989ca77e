//! SHA-256 of a file, computed beside other work.

use std::fmt::Write as _;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, OnceLock};
use std::thread::JoinHandle;

use sha2::{Digest as _, Sha256};

use crate::bytes::Bytes;

/// Files up to this size are digested at once: a thread would cost more.
const AT_ONCE_BYTES: usize = 1 << 20;

/// A digest that is ready or under way.
#[derive(Debug)]
pub(crate) struct Digest {
    value: OnceLock<String>,
    worker: Mutex<Option<JoinHandle<String>>>,
    bytes: Arc<Bytes>,
    cancelled: Arc<AtomicBool>,
}

impl Digest {
    /// Starts the digest of `bytes`.
    pub(crate) fn start(bytes: &Arc<Bytes>) -> Self {
        let cancelled = Arc::new(AtomicBool::new(false));
        let value = OnceLock::new();
        let mut worker = None;
        if bytes.len() <= AT_ONCE_BYTES {
            value.get_or_init(|| hex(bytes, &cancelled));
        } else {
            let (shared, stop) = (Arc::clone(bytes), Arc::clone(&cancelled));
            let named = std::thread::Builder::new().name("digest".into());
            worker = named.spawn(move || hex(&shared, &stop)).ok(); // without a thread it is computed when asked for
        }
        Self { value, worker: Mutex::new(worker), bytes: Arc::clone(bytes), cancelled }
    }

    /// The digest in lower-case hexadecimal; waits for it.
    pub(crate) fn wait(&self) -> &str {
        self.value.get_or_init(|| {
            let worker = self.worker.lock().ok().and_then(|mut w| w.take());
            let done = worker.and_then(|w| w.join().ok());
            done.unwrap_or_else(|| hex(&self.bytes, &AtomicBool::new(false)))
        })
    }
}

impl Drop for Digest {
    fn drop(&mut self) {
        self.cancelled.store(true, Ordering::Relaxed);
    }
}

/// SHA-256 of `bytes` in lower-case hexadecimal; of no meaning once cancelled.
fn hex(bytes: &[u8], cancelled: &AtomicBool) -> String {
    let mut hasher = Sha256::new();
    for piece in bytes.chunks(1 << 20) {
        if cancelled.load(Ordering::Relaxed) {
            break;
        }
        hasher.update(piece);
    }
    hasher.finalize().iter().fold(String::with_capacity(64), |mut text, byte| {
        let _ = write!(text, "{byte:02x}"); // writing to a String cannot fail
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4 example "abc" (NIST, SHA-256 example values).
    #[test]
    fn digest_of_the_published_example() {
        let digest = Digest::start(&Arc::new(Bytes::Held(b"abc".to_vec())));
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(digest.wait(), expected);
    }

    /// FIPS 180-4 example: one million letters "a", here through the thread by adding up to above the limit.
    #[test]
    fn thread_and_direct_agree() {
        let bytes = Arc::new(Bytes::Held(vec![b'a'; 3 << 20]));
        let digest = Digest::start(&bytes);
        assert_eq!(digest.wait(), hex(&bytes, &AtomicBool::new(false)));
        let million = hex(&vec![b'a'; 1_000_000], &AtomicBool::new(false));
        assert_eq!(million, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    }
}
