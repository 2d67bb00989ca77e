//! The controller's side of a session.

use std::collections::VecDeque;

use super::frame::{Channel, Frame, FrameReader, HEADER, HislipError, MessageType as M};
use super::{FIRST_ID, UNKNOWN_ID, VERSION};
use crate::excerpt::excerpt;

/// Two letters that say who speaks; IVI keeps a list of makers, and this stands for none of them.
const VENDOR: u16 = u16::from_be_bytes(*b"XX");

/// What has happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// Both channels are open: messages can be sent.
    Ready,
    /// A part of the answer.
    Data(Vec<u8>),
    /// The last part of the answer.
    DataEnd(Vec<u8>),
    /// An answer to an earlier message; it is dropped.
    Late {
        /// How many bytes.
        bytes: usize,
        /// Their start.
        excerpt: String,
    },
    /// The server dropped an answer since a new message came.
    Interrupted,
    /// The device clear is done: messages can be sent.
    Cleared,
    /// The instrument asks for service, with its status byte.
    ServiceRequest(u8),
}

/// How far the session is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Initializing,
    InitializingAsync,
    AskingSize,
    Ready,
    /// Waits for the answer on the asynchronous channel, then on the synchronous one.
    Clearing,
    ClearingSync,
}

/// A session. Bytes of both channels go in by [`feed`](Self::feed) and come out by [`output`](Self::output).
#[derive(Clone, Debug)]
pub struct Client {
    state: State,
    readers: [FrameReader; 2],
    outputs: [Vec<u8>; 2],
    events: VecDeque<Event>,
    session: Option<u16>,
    /// Largest payload that the server takes.
    server_limit: usize,
    limit: usize,
    next_id: u32,
    /// Number of the last message sent.
    last_id: u32,
    /// Whether the end of an answer was handed on since the last message was sent.
    is_delivered: bool,
}

impl Client {
    /// Begins a session with the device that a server keeps under `sub_address`, usually "hislip0". Answers in parts of
    /// at most `limit` bytes.
    pub fn new(sub_address: &str, limit: usize) -> Self {
        let parameter = (u32::from(VERSION) << 16) | u32::from(VENDOR);
        let begin = Frame::new(M::Initialize, 0, parameter, sub_address.as_bytes());
        Self {
            state: State::Initializing,
            readers: [FrameReader::new(limit), FrameReader::new(limit)],
            outputs: [begin.bytes(), Vec::new()],
            events: VecDeque::new(),
            session: None,
            server_limit: 0,
            limit,
            next_id: FIRST_ID,
            last_id: FIRST_ID,
            is_delivered: false,
        }
    }

    /// Number of the session, once the server has told it: now the second connection is to be opened.
    pub fn session(&self) -> Option<u16> {
        self.session
    }

    /// Whether messages can be sent.
    pub fn is_ready(&self) -> bool {
        self.state == State::Ready
    }

    /// What is to be sent on a channel.
    pub fn output(&mut self, channel: Channel) -> Vec<u8> {
        std::mem::take(&mut self.outputs[channel as usize])
    }

    /// What has happened, oldest first.
    pub fn event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// Sends a message, in parts that the server takes. Nothing happens before the session is ready.
    pub fn send(&mut self, message: &[u8]) {
        if !self.is_ready() {
            return;
        }
        let count = message.len().div_ceil(self.server_limit).max(1);
        for index in 0..count {
            let end = message.len().min((index + 1) * self.server_limit);
            let part = &message[index * self.server_limit..end];
            let kind = if index + 1 == count { M::DataEnd } else { M::Data };
            let frame = Frame::new(kind, u8::from(self.is_delivered), self.next_id, part);
            self.outputs[0].extend(frame.bytes());
            self.last_id = self.next_id;
            self.next_id = self.next_id.wrapping_add(2);
            self.is_delivered = false;
        }
    }

    /// Begins a device clear: what is under way in either direction is dropped.
    pub fn clear(&mut self) {
        if !matches!(self.state, State::Ready | State::Clearing | State::ClearingSync) {
            return;
        }
        self.state = State::Clearing;
        self.outputs[0].clear();
        self.events.retain(|event| matches!(event, Event::ServiceRequest(_)));
        self.outputs[1].extend(Frame::new(M::AsyncDeviceClear, 0, 0, &[]).bytes());
    }

    /// Takes bytes that came on a channel.
    ///
    /// # Errors
    /// They are no HiSLIP, or the server reports an error. The session is of no use any more, but for
    /// [`HislipError::Rejected`].
    pub fn feed(&mut self, channel: Channel, mut bytes: &[u8]) -> Result<(), HislipError> {
        while !bytes.is_empty() {
            let (taken, frame) = self.readers[channel as usize].feed(bytes)?;
            bytes = &bytes[taken..];
            if let Some(frame) = frame {
                match channel {
                    Channel::Synchronous => self.synchronous(frame)?,
                    Channel::Asynchronous => self.asynchronous(&frame)?,
                }
            }
        }
        Ok(())
    }

    fn synchronous(&mut self, frame: Frame) -> Result<(), HislipError> {
        match (frame.message, self.state) {
            (M::InitializeResponse, State::Initializing) => {
                let session = frame.parameter & 0xffff;
                self.session = Some(session as u16);
                self.state = State::InitializingAsync;
                self.outputs[1].extend(Frame::new(M::AsyncInitialize, 0, session, &[]).bytes());
            }
            // What was under way when the clear began.
            (M::Data | M::DataEnd | M::Interrupted, State::Clearing | State::ClearingSync) => {}
            (M::Data | M::DataEnd, State::Ready) => self.data(frame),
            (M::Interrupted, State::Ready) => {
                self.events.retain(|event| !matches!(event, Event::Data(_) | Event::DataEnd(_)));
                self.events.push_back(Event::Interrupted);
            }
            (M::DeviceClearAcknowledge, State::ClearingSync) => {
                self.state = State::Ready;
                self.next_id = FIRST_ID;
                self.last_id = FIRST_ID;
                self.is_delivered = false;
                self.events.push_back(Event::Cleared);
            }
            (M::FatalError, _) => return Err(fatal(&frame)),
            (M::Error, _) => return Err(rejected(&frame)),
            (found, state) => {
                let expected = match state {
                    State::Initializing => "the answer to Initialize",
                    State::InitializingAsync | State::AskingSize => "nothing before both channels are open",
                    State::Ready => "Data or DataEnd",
                    State::Clearing | State::ClearingSync => "DeviceClearAcknowledge",
                };
                return Err(HislipError::OutOfOrder { expected, found });
            }
        }
        Ok(())
    }

    fn data(&mut self, frame: Frame) {
        let is_part = frame.message == M::Data;
        // Only a last part must say to which message it answers.
        let is_current = frame.parameter == self.last_id || (is_part && frame.parameter == UNKNOWN_ID);
        self.events.push_back(if !is_current {
            Event::Late { bytes: frame.payload.len(), excerpt: excerpt(&frame.payload) }
        } else if is_part {
            Event::Data(frame.payload)
        } else {
            self.is_delivered = true;
            Event::DataEnd(frame.payload)
        });
    }

    fn asynchronous(&mut self, frame: &Frame) -> Result<(), HislipError> {
        match (frame.message, self.state) {
            (M::AsyncInitializeResponse, State::InitializingAsync) => {
                self.state = State::AskingSize;
                // The size counts the header as well.
                let size = (self.limit as u64).saturating_add(HEADER as u64).to_be_bytes();
                self.outputs[1].extend(Frame::new(M::AsyncMaximumMessageSize, 0, 0, &size).bytes());
            }
            (M::AsyncMaximumMessageSizeResponse, State::AskingSize) => {
                let size = frame.payload.first_chunk().map_or(0, |size| u64::from_be_bytes(*size));
                let room = usize::try_from(size).unwrap_or(usize::MAX).saturating_sub(HEADER);
                if room == 0 {
                    return Err(HislipError::NoRoom { bytes: size });
                }
                self.server_limit = room;
                self.state = State::Ready;
                self.events.push_back(Event::Ready);
            }
            (M::AsyncDeviceClearAcknowledge, State::Clearing) => {
                self.state = State::ClearingSync;
                self.outputs[0].extend(Frame::new(M::DeviceClearComplete, 0, 0, &[]).bytes());
            }
            (M::AsyncServiceRequest, _) => self.events.push_back(Event::ServiceRequest(frame.control)),
            (M::AsyncInterrupted, _) => {}
            (M::FatalError, _) => return Err(fatal(frame)),
            (M::Error, _) => return Err(rejected(frame)),
            (found, _) => {
                return Err(HislipError::OutOfOrder {
                    expected: "an answer on the asynchronous channel",
                    found,
                });
            }
        }
        Ok(())
    }
}

/// Words of the server, or else those of the standard's table.
fn words(frame: &Frame, known: &[&str]) -> String {
    if frame.payload.is_empty() {
        known.get(usize::from(frame.control)).unwrap_or(&"no words").to_string()
    } else {
        excerpt(&frame.payload)
    }
}

fn fatal(frame: &Frame) -> HislipError {
    let known = [
        "unidentified error",
        "poorly formed header",
        "a connection was used before both were open",
        "wrong order at the beginning",
        "too many clients",
    ];
    HislipError::Fatal { code: frame.control, text: words(frame, &known) }
}

fn rejected(frame: &Frame) -> HislipError {
    let known = [
        "unidentified error",
        "unknown message type",
        "unknown control code",
        "unknown message of a maker",
        "message too large",
    ];
    HislipError::Rejected { code: frame.control, text: words(frame, &known) }
}
