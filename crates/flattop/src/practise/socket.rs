//! The instrument on a raw TCP socket: a message a line, as the registered port 5025 has it (common practice).

use std::io::{ErrorKind, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::Duration;

use flattop_practice::digitizer::{Digitizer, MOST_MESSAGE, Next};
use flattop_practice::faults::{Act, Faults};

use super::running::Practice;

/// Links at a time.
const MOST_LINKS: usize = 32;
/// Longest wait without a look.
const LOOK: Duration = Duration::from_millis(500);
/// Least time that a system can be told to wait.
const LEAST: Duration = Duration::from_micros(200);
/// A controller that takes nothing for so long is let go.
const UNREAD: Duration = Duration::from_secs(20);
/// Bytes of one reading.
const PIECE: usize = 1 << 14;

/// How the instrument answers.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Manner {
    /// Captures a second at most.
    pub(crate) most_per_second: f64,
    /// Seed of faults on purpose, and one answer in how many.
    pub(crate) faults: Option<(u64, u32)>,
}

/// Takes links, each in a thread of its own, for as long as the program runs.
pub(crate) fn serve(listener: TcpListener, practice: Arc<Practice>, manner: Manner) {
    let (links, count) = (Arc::new(AtomicUsize::new(0)), AtomicU64::new(0));
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let Ok(stream) = stream else {
                // No handles left: a moment later there may be.
                std::thread::sleep(Duration::from_millis(50));
                continue;
            };
            if links.fetch_add(1, Ordering::SeqCst) >= MOST_LINKS {
                links.fetch_sub(1, Ordering::SeqCst);
                continue;
            }
            let number = count.fetch_add(1, Ordering::SeqCst);
            let (practice, links) = (Arc::clone(&practice), Arc::clone(&links));
            std::thread::spawn(move || {
                // How a link ends is the controller's business.
                let _ = link(stream, &practice, manner, number);
                links.fetch_sub(1, Ordering::SeqCst);
            });
        }
    });
}

fn link(mut stream: TcpStream, practice: &Practice, manner: Manner, number: u64) -> std::io::Result<()> {
    stream.set_nodelay(true)?;
    stream.set_write_timeout(Some(UNREAD))?;
    let mut digitizer = Digitizer::new(manner.most_per_second);
    let mut faults = manner.faults.map(|(seed, one_in)| Faults::new(seed, number, one_in));
    let mut line = Line::default();
    let mut piece = vec![0; PIECE];
    loop {
        let wait = match practice.next(&mut digitizer) {
            Next::Answer(answer) => {
                let acts = match &mut faults {
                    Some(faults) => faults.of(answer).0,
                    None => vec![Act::Send(answer)],
                };
                for act in acts {
                    match act {
                        Act::Send(bytes) => stream.write_all(&bytes)?,
                        Act::Pause(time) => std::thread::sleep(time),
                        Act::Close => return Ok(()),
                    }
                }
                continue;
            }
            Next::At(time) => time.saturating_sub(practice.now()).clamp(LEAST, LOOK),
            Next::Idle => LOOK,
        };
        stream.set_read_timeout(Some(wait))?;
        match stream.read(&mut piece) {
            Ok(0) => return Ok(()),
            Ok(count) => line.feed(&piece[..count], &mut digitizer),
            Err(error)
                if matches!(
                    error.kind(),
                    ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted
                ) => {}
            Err(error) => return Err(error),
        }
    }
}

/// Bytes up to a line feed.
#[derive(Default)]
struct Line {
    bytes: Vec<u8>,
    /// Whether the line has been too long, and its rest is dropped.
    is_lost: bool,
}

impl Line {
    fn feed(&mut self, piece: &[u8], digitizer: &mut Digitizer) {
        for part in piece.split_inclusive(|byte| *byte == b'\n') {
            if !self.is_lost {
                self.bytes.extend_from_slice(part);
            }
            if self.bytes.len() > MOST_MESSAGE {
                digitizer.overrun();
                self.bytes = Vec::new();
                self.is_lost = true;
            }
            if part.ends_with(b"\n") {
                if !self.is_lost {
                    digitizer.message(&self.bytes);
                }
                self.bytes.clear();
                self.is_lost = false;
            }
        }
    }
}
