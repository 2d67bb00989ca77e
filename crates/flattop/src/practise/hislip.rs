//! The instrument on HiSLIP: two connections a session, each with a thread of its own.

use std::collections::HashMap;
use std::io::{ErrorKind, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use flattop_practice::digitizer::{Digitizer, MOST_MESSAGE, Next};
use flattop_scpi::hislip::{Channel, HEADER, Request, Server};

use super::running::Practice;

/// Sessions at a time.
const MOST_SESSIONS: usize = 16;
/// Longest wait without a look.
const LOOK: Duration = Duration::from_millis(500);
const LEAST: Duration = Duration::from_micros(200);
/// How long the first header may take, and a client take nothing.
const PATIENCE: Duration = Duration::from_secs(10);
const PIECE: usize = 1 << 14;
/// Type of the message that opens the second connection (IVI-6.1, table 4; from memory).
const ASYNC_INITIALIZE: u8 = 17;

/// Both ends of a session.
struct Session {
    server: Server,
    digitizer: Digitizer,
    streams: [Option<TcpStream>; 2],
}

/// Sessions by their number.
type Sessions = Arc<Mutex<HashMap<u16, Arc<Mutex<Session>>>>>;

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes connections for as long as the program runs.
pub(crate) fn serve(listener: TcpListener, practice: Arc<Practice>, most_per_second: f64) {
    let sessions = Sessions::default();
    std::thread::spawn(move || {
        let mut last = 0u16;
        for stream in listener.incoming() {
            let Ok(stream) = stream else {
                std::thread::sleep(Duration::from_millis(50));
                continue;
            };
            last = last.wrapping_add(1);
            let (number, sessions, practice) = (last, Arc::clone(&sessions), Arc::clone(&practice));
            std::thread::spawn(move || {
                let _ = connection(stream, number, &sessions, &practice, most_per_second);
            });
        }
    });
}

/// One connection, from its first header to its end.
fn connection(
    mut stream: TcpStream,
    number: u16,
    sessions: &Sessions,
    practice: &Practice,
    most_per_second: f64,
) -> std::io::Result<()> {
    stream.set_nodelay(true)?;
    stream.set_write_timeout(Some(PATIENCE))?;
    stream.set_read_timeout(Some(PATIENCE))?;
    let mut header = [0; HEADER];
    stream.read_exact(&mut header)?;
    let (channel, number) = match header {
        // The session's number is in the low half of the parameter.
        [_, _, ASYNC_INITIALIZE, _, _, _, high, low, ..] => {
            (Channel::Asynchronous, u16::from_be_bytes([high, low]))
        }
        _ => (Channel::Synchronous, number),
    };
    let session = {
        let mut all = lock(sessions);
        match channel {
            Channel::Synchronous if all.len() >= MOST_SESSIONS => return Ok(()),
            Channel::Synchronous => {
                let session = Session {
                    server: Server::new(number, MOST_MESSAGE),
                    digitizer: Digitizer::new(most_per_second),
                    streams: [None, None],
                };
                let session = Arc::new(Mutex::new(session));
                all.insert(number, Arc::clone(&session));
                session
            }
            Channel::Asynchronous => match all.get(&number) {
                Some(session) => Arc::clone(session),
                None => return Ok(()),
            },
        }
    };
    lock(&session).streams[channel as usize] = Some(stream.try_clone()?);
    let ended = talk(stream, channel, &header, &session, practice);
    // With one connection the other one ends too.
    for stream in lock(&session).streams.iter().flatten() {
        let _ = stream.shutdown(std::net::Shutdown::Both);
    }
    lock(sessions).remove(&number);
    ended
}

fn talk(
    mut stream: TcpStream,
    channel: Channel,
    header: &[u8],
    session: &Mutex<Session>,
    practice: &Practice,
) -> std::io::Result<()> {
    let mut piece = vec![0; PIECE];
    piece[..header.len()].copy_from_slice(header);
    let mut count = header.len();
    loop {
        let wait = {
            let mut session = lock(session);
            let fed = session.server.feed(channel, &piece[..count]);
            let wait = session.go_on(practice)?;
            if fed.is_err() {
                return Ok(());
            }
            wait
        };
        // Only the first connection's thread minds the time.
        let wait = if channel == Channel::Synchronous { wait } else { LOOK };
        stream.set_read_timeout(Some(wait))?;
        count = match stream.read(&mut piece) {
            Ok(0) => return Ok(()),
            Ok(count) => count,
            Err(error)
                if matches!(
                    error.kind(),
                    ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted
                ) =>
            {
                0
            }
            Err(error) => return Err(error),
        };
    }
}

impl Session {
    /// Does what can be done now; gives how long to wait for the rest.
    fn go_on(&mut self, practice: &Practice) -> std::io::Result<Duration> {
        while let Some(request) = self.server.request() {
            match request {
                Request::Message(message) => self.digitizer.message(&message),
                Request::Clear => self.digitizer.clear(),
                Request::Trigger => self.digitizer.trigger(),
            }
        }
        let wait = loop {
            match practice.next(&mut self.digitizer) {
                Next::Answer(answer) => self.server.answer(&answer),
                Next::At(time) => break time.saturating_sub(practice.now()).clamp(LEAST, LOOK),
                Next::Idle => break LOOK,
            }
        };
        self.server.set_status(self.digitizer.status_byte());
        for channel in [Channel::Synchronous, Channel::Asynchronous] {
            let output = self.server.output(channel);
            if let Some(stream) = &mut self.streams[channel as usize] {
                stream.write_all(&output)?;
            }
        }
        Ok(wait)
    }
}
