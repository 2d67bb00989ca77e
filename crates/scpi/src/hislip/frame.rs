//! One message of the wire: a header of 16 bytes and its payload.

use crate::excerpt::excerpt;

/// Bytes of a header: "HS", type, control code, parameter (4), length of the payload (8), most significant first.
pub const HEADER: usize = 16;

/// Offsets within a header.
mod field {
    pub(super) const PROLOGUE: std::ops::Range<usize> = 0..2;
    pub(super) const TYPE: usize = 2;
    pub(super) const CONTROL: usize = 3;
}

/// Which of the two connections.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel {
    /// Data, opened first.
    Synchronous,
    /// Control, opened second.
    Asynchronous,
}

/// Defines the types of messages with their numbers.
macro_rules! message_types {
    ($($(#[$doc:meta])* $name:ident = $number:literal),+ $(,)?) => {
        /// What a message is (table 4). Unknown ones keep their number.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum MessageType {
            $($(#[$doc])* $name,)+
            /// Any other.
            Other(u8),
        }

        impl MessageType {
            /// Its number.
            pub const fn number(self) -> u8 {
                match self { $(MessageType::$name => $number,)+ MessageType::Other(number) => number }
            }

            /// From its number.
            pub const fn from_number(number: u8) -> Self {
                match number { $($number => MessageType::$name,)+ other => MessageType::Other(other) }
            }
        }
    };
}

message_types! {
    /// Client: begin on the synchronous channel.
    Initialize = 0,
    /// Server: its answer, with the number of the session.
    InitializeResponse = 1,
    /// Both: the connection is lost.
    FatalError = 2,
    /// Both: a message was not taken.
    Error = 3,
    /// Both: a part of a message.
    Data = 6,
    /// Both: the last part of a message.
    DataEnd = 7,
    /// Client: nothing of before the clear follows.
    DeviceClearComplete = 8,
    /// Server: nothing of before the clear follows.
    DeviceClearAcknowledge = 9,
    /// Client: trigger.
    Trigger = 12,
    /// Server: an answer was dropped since a new message came.
    Interrupted = 13,
    /// Server: the same on the asynchronous channel.
    AsyncInterrupted = 14,
    /// Client: largest message that it takes.
    AsyncMaximumMessageSize = 15,
    /// Server: largest message that it takes.
    AsyncMaximumMessageSizeResponse = 16,
    /// Client: begin on the asynchronous channel.
    AsyncInitialize = 17,
    /// Server: its answer.
    AsyncInitializeResponse = 18,
    /// Client: device clear.
    AsyncDeviceClear = 19,
    /// Server: service request.
    AsyncServiceRequest = 20,
    /// Client: asks for the status byte.
    AsyncStatusQuery = 21,
    /// Server: the status byte.
    AsyncStatusResponse = 22,
    /// Server: the clear has begun.
    AsyncDeviceClearAcknowledge = 23,
}

/// What can go wrong.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum HislipError {
    /// The other side speaks something else.
    #[error("expected a HiSLIP message, which begins with \"HS\", found {found}")]
    NotHislip {
        /// What came.
        found: String,
    },
    /// A message is larger than is taken.
    #[error("a message announces {announced} bytes, and at most {limit} are taken")]
    TooLarge {
        /// Announced number of bytes.
        announced: u64,
        /// Most bytes that are taken.
        limit: usize,
    },
    /// A message has no place here.
    #[error("expected {expected}, found {found:?}")]
    OutOfOrder {
        /// What was to come.
        expected: &'static str,
        /// What came.
        found: MessageType,
    },
    /// The other side ends the connection.
    #[error("the other side ends the connection, code {code}: {text}")]
    Fatal {
        /// Code of the standard.
        code: u8,
        /// Its words.
        text: String,
    },
    /// The other side did not take a message.
    #[error("the other side did not take a message, code {code}: {text}")]
    Rejected {
        /// Code of the standard.
        code: u8,
        /// Its words.
        text: String,
    },
    /// The other side takes no message at all.
    #[error("the other side takes messages of {bytes} bytes only")]
    NoRoom {
        /// Largest message it takes.
        bytes: u64,
    },
}

/// One message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// What it is.
    pub message: MessageType,
    /// Control code; its meaning depends on the type.
    pub control: u8,
    /// Parameter; its meaning depends on the type.
    pub parameter: u32,
    /// Payload.
    pub payload: Vec<u8>,
}

impl Frame {
    /// A message.
    pub fn new(message: MessageType, control: u8, parameter: u32, payload: &[u8]) -> Self {
        Self { message, control, parameter, payload: payload.to_vec() }
    }

    /// As bytes.
    pub fn bytes(&self) -> Vec<u8> {
        let mut bytes = b"HS".to_vec();
        bytes.extend([self.message.number(), self.control]);
        bytes.extend(self.parameter.to_be_bytes());
        bytes.extend((self.payload.len() as u64).to_be_bytes());
        bytes.extend(&self.payload);
        bytes
    }
}

/// Takes a stream of bytes apart. It never holds more than has arrived.
#[derive(Clone, Debug)]
pub struct FrameReader {
    limit: usize,
    bytes: Vec<u8>,
}

impl FrameReader {
    /// Payloads of at most `limit` bytes are taken.
    pub fn new(limit: usize) -> Self {
        Self { limit, bytes: Vec::new() }
    }

    /// Takes bytes up to the end of a message: how many were taken, and the message if it is complete.
    ///
    /// # Errors
    /// The bytes are no message of HiSLIP, or one that is too large.
    pub fn feed(&mut self, bytes: &[u8]) -> Result<(usize, Option<Frame>), HislipError> {
        let mut taken = HEADER.saturating_sub(self.bytes.len()).min(bytes.len());
        self.bytes.extend_from_slice(&bytes[..taken]);
        let prologue = &self.bytes[..self.bytes.len().min(field::PROLOGUE.end)];
        if prologue != &b"HS"[..prologue.len()] {
            return Err(HislipError::NotHislip { found: excerpt(&self.bytes) });
        }
        let Some([_, _, _, _, a, b, c, d, length @ ..]) = self.bytes.first_chunk::<HEADER>().copied() else {
            return Ok((taken, None));
        };
        let announced = u64::from_be_bytes(length);
        let Some(length) = usize::try_from(announced).ok().filter(|n| *n <= self.limit) else {
            return Err(HislipError::TooLarge { announced, limit: self.limit });
        };
        let count = (HEADER + length - self.bytes.len()).min(bytes.len() - taken);
        self.bytes.extend_from_slice(&bytes[taken..taken + count]);
        taken += count;
        if self.bytes.len() < HEADER + length {
            return Ok((taken, None));
        }
        let whole = std::mem::take(&mut self.bytes);
        let frame = Frame {
            message: MessageType::from_number(whole[field::TYPE]),
            control: whole[field::CONTROL],
            parameter: u32::from_be_bytes([a, b, c, d]),
            payload: whole[HEADER..].to_vec(),
        };
        Ok((taken, Some(frame)))
    }
}
