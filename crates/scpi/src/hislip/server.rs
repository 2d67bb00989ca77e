//! The instrument's side of a session, as much of it as practice and tests need.

use std::collections::VecDeque;

use super::frame::{Channel, Frame, FrameReader, HEADER, HislipError, MessageType as M};
use super::{FIRST_ID, VERSION};

/// What the client wants.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Request {
    /// Carry out this message.
    Message(Vec<u8>),
    /// Drop everything and start over.
    Clear,
    /// Trigger.
    Trigger,
}

/// One session of a server.
#[derive(Clone, Debug)]
pub struct Server {
    session: u16,
    limit: usize,
    client_limit: usize,
    readers: [FrameReader; 2],
    outputs: [Vec<u8>; 2],
    requests: VecDeque<Request>,
    message: Vec<u8>,
    answers_to: u32,
    status: u8,
    is_open: [bool; 2],
}

impl Server {
    /// A session with its number, which takes messages of at most `limit` bytes.
    pub fn new(session: u16, limit: usize) -> Self {
        Self {
            session,
            limit,
            client_limit: 256,
            readers: [FrameReader::new(limit), FrameReader::new(limit)],
            outputs: [Vec::new(), Vec::new()],
            requests: VecDeque::new(),
            message: Vec::new(),
            answers_to: FIRST_ID,
            status: 0,
            is_open: [false; 2],
        }
    }

    /// What is to be sent on a channel.
    pub fn output(&mut self, channel: Channel) -> Vec<u8> {
        std::mem::take(&mut self.outputs[channel as usize])
    }

    /// What the client wants, oldest first.
    pub fn request(&mut self) -> Option<Request> {
        self.requests.pop_front()
    }

    /// The status byte that the next status query is answered with.
    pub fn set_status(&mut self, status: u8) {
        self.status = status;
    }

    /// Answers the last message, in parts that the client takes.
    pub fn answer(&mut self, answer: &[u8]) {
        let count = answer.len().div_ceil(self.client_limit).max(1);
        for index in 0..count {
            let end = answer.len().min((index + 1) * self.client_limit);
            let kind = if index + 1 == count { M::DataEnd } else { M::Data };
            let part = &answer[index * self.client_limit..end];
            self.put(Channel::Synchronous, kind, 0, self.answers_to, part);
        }
    }

    fn put(&mut self, channel: Channel, kind: M, control: u8, parameter: u32, payload: &[u8]) {
        self.outputs[channel as usize].extend(Frame::new(kind, control, parameter, payload).bytes());
    }

    /// Takes bytes that came on a channel.
    ///
    /// # Errors
    /// They are no HiSLIP, or out of order. What says so to the client is among the [`output`](Self::output).
    pub fn feed(&mut self, channel: Channel, mut bytes: &[u8]) -> Result<(), HislipError> {
        while !bytes.is_empty() {
            let read = self.readers[channel as usize].feed(bytes);
            let (taken, frame) = read.inspect_err(|_| self.put(channel, M::FatalError, 1, 0, &[]))?;
            bytes = &bytes[taken..];
            if let Some(frame) = frame {
                self.frame(channel, &frame)?;
            }
        }
        Ok(())
    }

    fn frame(&mut self, channel: Channel, frame: &Frame) -> Result<(), HislipError> {
        use Channel::{Asynchronous, Synchronous};
        let is_open = self.is_open == [true; 2];
        match (channel, frame.message) {
            (Synchronous, M::Initialize) => {
                self.is_open[0] = true;
                let parameter = (u32::from(VERSION) << 16) | u32::from(self.session);
                self.put(channel, M::InitializeResponse, 0, parameter, &[]);
            }
            (Asynchronous, M::AsyncInitialize) if frame.parameter == u32::from(self.session) => {
                self.is_open[1] = true;
                self.put(channel, M::AsyncInitializeResponse, 0, 0, &[]);
            }
            (Asynchronous, M::AsyncMaximumMessageSize) => {
                let size = frame.payload.first_chunk().map_or(0, |size| u64::from_be_bytes(*size));
                self.client_limit = usize::try_from(size).unwrap_or(usize::MAX).saturating_sub(HEADER).max(1);
                let own = ((self.limit + HEADER) as u64).to_be_bytes();
                self.put(channel, M::AsyncMaximumMessageSizeResponse, 0, 0, &own);
            }
            (Synchronous, M::Data | M::DataEnd) if is_open => {
                if self.message.len() + frame.payload.len() > self.limit {
                    self.message.clear();
                    self.put(channel, M::Error, 4, 0, &[]);
                    return Ok(());
                }
                self.message.extend_from_slice(&frame.payload);
                self.answers_to = frame.parameter;
                if frame.message == M::DataEnd {
                    self.requests.push_back(Request::Message(std::mem::take(&mut self.message)));
                }
            }
            (Synchronous, M::Trigger) if is_open => self.requests.push_back(Request::Trigger),
            (Asynchronous, M::AsyncDeviceClear) if is_open => {
                self.message.clear();
                self.requests.clear();
                self.requests.push_back(Request::Clear);
                self.put(channel, M::AsyncDeviceClearAcknowledge, 0, 0, &[]);
            }
            (Synchronous, M::DeviceClearComplete) if is_open => {
                self.answers_to = FIRST_ID;
                self.put(channel, M::DeviceClearAcknowledge, 0, 0, &[]);
            }
            (Asynchronous, M::AsyncStatusQuery) if is_open => {
                self.put(channel, M::AsyncStatusResponse, self.status, 0, &[]);
            }
            (_, found) => {
                let (code, expected) = if is_open {
                    (3, "a message of this channel")
                } else {
                    (2, "both channels to be opened")
                };
                self.put(channel, M::FatalError, code, 0, &[]);
                return Err(HislipError::OutOfOrder { expected, found });
            }
        }
        Ok(())
    }
}
