//! USBTMC device files of Linux, `/dev/usbtmcN`, by plain reading and writing.
//!
//! The system's driver does the framing: one write is one message, and a read that gives less than was asked for ends
//! one. Reading waits as long as the driver likes, usually five seconds, so it is done beside, in a thread of its own,
//! and given up when the time limit is over. Nothing is read before something was asked: instruments take that amiss.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Write};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, TryRecvError, channel};
use std::time::Duration;

use flattop_scpi::session::Boundary;

use crate::transport::{PIECE, Received, Transport, Trouble, broken};

/// A device file.
pub struct UsbTmc {
    path: String,
    worker: Option<Worker>,
}

enum Order {
    Write(Vec<u8>),
    Read,
}

enum Done {
    Written(std::io::Result<()>),
    Read(std::io::Result<Vec<u8>>),
}

struct Worker {
    orders: Sender<Order>,
    done: Receiver<Done>,
    /// A read was ordered and has not come back.
    is_reading: bool,
    /// A question was sent, and its answer has not ended.
    is_answer_due: bool,
}

impl Worker {
    fn over(mut reader: impl Read + Send + 'static, mut writer: impl Write + Send + 'static) -> Self {
        let (orders, inbox) = channel::<Order>();
        let (outbox, done) = channel();
        // It ends when the other end is dropped, after a read under way.
        std::thread::spawn(move || {
            for order in inbox {
                let result = match order {
                    Order::Write(message) => Done::Written(writer.write_all(&message)),
                    Order::Read => {
                        let mut piece = vec![0; PIECE];
                        Done::Read(reader.read(&mut piece).map(|count| {
                            piece.truncate(count);
                            piece
                        }))
                    }
                };
                if outbox.send(result).is_err() {
                    return;
                }
            }
        });
        Self { orders, done, is_reading: false, is_answer_due: false }
    }
}

impl UsbTmc {
    /// Opens `path`, such as "/dev/usbtmc0".
    ///
    /// # Errors
    /// It can't be opened for reading and writing.
    pub fn open(path: &str) -> Result<Self, Trouble> {
        let mut device = Self { path: path.to_owned(), worker: None };
        device.clear(Duration::ZERO)?;
        Ok(device)
    }

    fn files(&self) -> std::io::Result<(File, File)> {
        let file = OpenOptions::new().read(true).write(true).open(&self.path)?;
        Ok((file.try_clone()?, file))
    }
}

impl Transport for UsbTmc {
    fn send(&mut self, message: &[u8], time_limit: Duration) -> Result<(), Trouble> {
        let closed = Trouble::Closed { doing: self.path.clone(), received: 0 };
        let Some(worker) = &mut self.worker else { return Err(closed) };
        if worker.is_reading {
            let doing = format!("{}: an earlier read", self.path);
            return Err(Trouble::TimedOut { doing, waited: Duration::ZERO, received: 0 });
        }
        if worker.orders.send(Order::Write(message.to_vec())).is_err() {
            return Err(closed);
        }
        match worker.done.recv_timeout(time_limit) {
            Ok(Done::Written(Ok(()))) => {
                worker.is_answer_due = message.contains(&b'?');
                Ok(())
            }
            Ok(Done::Written(Err(error))) => Err(broken(&self.path, &error, time_limit)),
            Ok(Done::Read(_)) | Err(RecvTimeoutError::Disconnected) => Err(closed),
            Err(RecvTimeoutError::Timeout) => {
                // It may still be written: this worker is of no use any more.
                self.worker = None;
                let doing = format!("sending to {}", self.path);
                Err(Trouble::TimedOut { doing, waited: time_limit, received: 0 })
            }
        }
    }

    fn receive(&mut self, time_limit: Duration) -> Result<Received, Trouble> {
        let Some(worker) = &mut self.worker else { return Ok(Received::Closed) };
        if !worker.is_reading {
            if time_limit.is_zero() {
                return Ok(Received::Nothing);
            }
            if !worker.is_answer_due {
                // Nothing can come; but the time is to pass.
                return match worker.done.recv_timeout(time_limit) {
                    Err(RecvTimeoutError::Disconnected) => Ok(Received::Closed),
                    _ => Ok(Received::Nothing),
                };
            }
            worker.is_reading = worker.orders.send(Order::Read).is_ok();
        }
        let done = if time_limit.is_zero() {
            worker.done.try_recv().map_err(|e| match e {
                TryRecvError::Empty => RecvTimeoutError::Timeout,
                TryRecvError::Disconnected => RecvTimeoutError::Disconnected,
            })
        } else {
            worker.done.recv_timeout(time_limit)
        };
        match done {
            Err(RecvTimeoutError::Timeout) => Ok(Received::Nothing),
            Err(RecvTimeoutError::Disconnected) => Ok(Received::Closed),
            Ok(Done::Written(_)) => Ok(Received::Nothing),
            Ok(Done::Read(read)) => {
                worker.is_reading = false;
                match read {
                    Ok(bytes) if bytes.is_empty() => Ok(Received::Closed),
                    Ok(bytes) => {
                        let boundary = if bytes.len() < PIECE { Boundary::End } else { Boundary::Unmarked };
                        worker.is_answer_due = boundary == Boundary::Unmarked;
                        Ok(Received::Bytes(bytes, boundary))
                    }
                    // The driver's own patience was over.
                    Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) => {
                        Ok(Received::Nothing)
                    }
                    Err(error) => Err(broken(&self.path, &error, time_limit)),
                }
            }
        }
    }

    /// Opens the file anew. The driver has no way to clear the instrument by reading and writing alone, so what it still
    /// has to say is told apart by the link's synchronising question.
    fn clear(&mut self, _: Duration) -> Result<(), Trouble> {
        self.worker = None;
        let (reader, writer) = self.files().map_err(|error| match error.kind() {
            ErrorKind::PermissionDenied => Trouble::Unavailable {
                what: self.path.clone(),
                reason: "no permission to read and write it; see PLATFORM.md for the rule to set".to_owned(),
            },
            _ => Trouble::Refused { address: self.path.clone(), reason: error.to_string() },
        })?;
        self.worker = Some(Worker::over(reader, writer));
        Ok(())
    }

    fn close(&mut self) {
        self.worker = None;
    }

    fn name(&self) -> String {
        self.path.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::net::UnixStream;

    /// A device file, and what stands in for the instrument behind it.
    fn pair() -> (UsbTmc, UnixStream) {
        let (ours, theirs) = UnixStream::pair().unwrap();
        let worker = Worker::over(ours.try_clone().unwrap(), ours);
        (UsbTmc { path: "device".into(), worker: Some(worker) }, theirs)
    }

    const LONG: Duration = Duration::from_secs(20);

    #[test]
    fn a_short_read_ends_the_message() {
        let (mut device, mut theirs) = pair();
        device.send(b"*IDN?\n", LONG).unwrap();
        let mut question = [0; 6];
        theirs.read_exact(&mut question).unwrap();
        assert_eq!(&question, b"*IDN?\n");
        assert_eq!(device.receive(Duration::ZERO), Ok(Received::Nothing));
        theirs.write_all(b"Harrow\n").unwrap();
        assert_eq!(device.receive(LONG), Ok(Received::Bytes(b"Harrow\n".to_vec(), Boundary::End)));
        drop(theirs);
        device.send(b"?", LONG).unwrap_err();
    }

    #[test]
    fn a_read_is_given_up_in_time_and_its_answer_not_lost() {
        let (mut device, mut theirs) = pair();
        device.send(b"?", LONG).unwrap();
        assert_eq!(device.receive(LEAST), Ok(Received::Nothing));
        assert!(matches!(device.send(b"?", LONG), Err(Trouble::TimedOut { .. })));
        theirs.write_all(b"1\n").unwrap();
        assert_eq!(device.receive(LONG), Ok(Received::Bytes(b"1\n".to_vec(), Boundary::End)));
        drop(theirs);
        assert_eq!(device.receive(LEAST), Ok(Received::Nothing));
    }

    const LEAST: Duration = Duration::from_millis(1);

    #[test]
    fn what_is_not_there_is_refused() {
        assert!(matches!(UsbTmc::open("no/such/device"), Err(Trouble::Refused { .. })));
    }
}
