//! A raw TCP connection. Nothing on it marks where a message ends, and clearing it means connecting anew.

use std::io::{ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::Duration;

use flattop_scpi::session::Boundary;

use super::{LEAST, PIECE, Received, Transport, Trouble, broken};
use crate::clock::SharedClock;

/// A raw socket.
pub struct Tcp {
    address: String,
    clock: SharedClock,
    stream: Option<TcpStream>,
}

/// Connects to `address`, "host:port", trying all addresses that a name has. Looking up a name has no time limit of its own.
pub(super) fn connect(
    address: &str,
    clock: &SharedClock,
    time_limit: Duration,
) -> Result<TcpStream, Trouble> {
    let refused = |reason: String| Trouble::Refused { address: address.to_owned(), reason };
    let end = clock.now() + time_limit;
    let addresses = address.to_socket_addrs().map_err(|e| refused(e.to_string()))?;
    let mut last = refused("the name has no address".to_owned());
    for socket in addresses {
        let left = end.saturating_sub(clock.now()).max(LEAST);
        match TcpStream::connect_timeout(&socket, left) {
            Ok(stream) => {
                // Questions are short and wait for answers.
                stream.set_nodelay(true).map_err(|e| refused(e.to_string()))?;
                return Ok(stream);
            }
            Err(error) if error.kind() == ErrorKind::TimedOut => {
                let doing = format!("connecting to {address}");
                last = Trouble::TimedOut { doing, waited: time_limit, received: 0 };
            }
            Err(error) => last = refused(error.to_string()),
        }
    }
    Err(last)
}

/// Writes all of `message`.
pub(super) fn write(
    stream: &mut TcpStream,
    message: &[u8],
    clock: &SharedClock,
    time_limit: Duration,
) -> Result<(), Trouble> {
    let failed = |e: &std::io::Error| broken("sending", e, time_limit);
    let end = clock.now() + time_limit;
    let mut rest = message;
    while !rest.is_empty() {
        let left = end.saturating_sub(clock.now());
        if left.is_zero() && rest.len() < message.len() {
            return Err(failed(&ErrorKind::TimedOut.into()));
        }
        stream.set_write_timeout(Some(left.max(LEAST))).map_err(|e| failed(&e))?;
        match stream.write(rest) {
            Ok(0) => return Err(failed(&ErrorKind::BrokenPipe.into())),
            Ok(count) => rest = &rest[count..],
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err(failed(&error)),
        }
    }
    Ok(())
}

/// Reads what is there; `Ok(None)` for nothing in time, an empty vector for the end.
pub(super) fn read(stream: &mut TcpStream, time_limit: Duration) -> Result<Option<Vec<u8>>, Trouble> {
    let failed = |e: &std::io::Error| broken("receiving", e, time_limit);
    let mut piece = vec![0; PIECE];
    // A timeout, however short, lasts until the system's next tick or two; looking whether something is there must not.
    let looks_only = time_limit.is_zero();
    if looks_only {
        stream.set_nonblocking(true).map_err(|e| failed(&e))?;
    } else {
        stream.set_read_timeout(Some(time_limit.max(LEAST))).map_err(|e| failed(&e))?;
    }
    let read = stream.read(&mut piece);
    if looks_only {
        stream.set_nonblocking(false).map_err(|e| failed(&e))?;
    }
    match read {
        Ok(count) => {
            piece.truncate(count);
            Ok(Some(piece))
        }
        Err(error) => match error.kind() {
            ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted => Ok(None),
            ErrorKind::ConnectionReset | ErrorKind::ConnectionAborted => Ok(Some(Vec::new())),
            _ => Err(failed(&error)),
        },
    }
}

impl Tcp {
    /// Connects to `address`, such as "192.0.2.7:5025".
    ///
    /// # Errors
    /// No connection in time.
    pub fn connect(address: &str, clock: SharedClock, time_limit: Duration) -> Result<Self, Trouble> {
        let stream = Some(connect(address, &clock, time_limit)?);
        Ok(Self { address: address.to_owned(), clock, stream })
    }

    fn stream(&mut self) -> Result<&mut TcpStream, Trouble> {
        self.stream.as_mut().ok_or_else(|| Trouble::Closed { doing: self.address.clone(), received: 0 })
    }
}

impl Transport for Tcp {
    fn send(&mut self, message: &[u8], time_limit: Duration) -> Result<(), Trouble> {
        let clock = self.clock.clone();
        write(self.stream()?, message, &clock, time_limit)
    }

    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble> {
        let Some(stream) = self.stream.as_mut() else { return Ok(Received::Closed) };
        Ok(match read(stream, time_limit)? {
            None => Received::Nothing,
            Some(bytes) if bytes.is_empty() => {
                self.stream = None;
                Received::Closed
            }
            Some(bytes) => Received::Bytes(bytes, Boundary::Unmarked),
        })
    }

    fn clear(&mut self, time_limit: Duration) -> Result<(), Trouble> {
        // The old connection goes first: many instruments take one at a time.
        self.stream = None;
        self.stream = Some(connect(&self.address, &self.clock, time_limit)?);
        Ok(())
    }

    fn close(&mut self) {
        self.stream = None;
    }

    fn name(&self) -> String {
        self.address.clone()
    }
}
