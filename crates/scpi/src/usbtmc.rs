//! Framing of messages over USB: headers of bulk transfers, tags, chunks and padding.
//!
//! USBTMC 1.0 (2003), 3.2 (bulk-OUT, tables 1 to 6) and 3.3 (bulk-IN, tables 7 to 9); USB488 1.0 adds the trigger
//! message. Numbers on the wire have their least significant byte first. A driver in the operating system usually does
//! all of this; it is here so that it can be done, and tested, without one.

use crate::excerpt::excerpt;

/// Bytes of a header.
pub const HEADER: usize = 12;

/// Offsets within a header (table 1).
mod field {
    pub(super) const MESSAGE: usize = 0;
    pub(super) const TAG: usize = 1;
    pub(super) const TAG_INVERSE: usize = 2;
    pub(super) const SIZE: std::ops::Range<usize> = 4..8;
    pub(super) const ATTRIBUTES: usize = 8;
    pub(super) const TERMINATOR: usize = 9;
}

/// What a transfer is (table 2). Unknown ones keep their number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MessageId {
    /// To the device: `DEV_DEP_MSG_OUT`; from it: `DEV_DEP_MSG_IN`, told apart by direction only in name.
    DeviceDependentOut,
    /// Asks for an answer, `REQUEST_DEV_DEP_MSG_IN`; the answer itself has the same number.
    DeviceDependentIn,
    /// Defined by the maker, to the device.
    VendorOut,
    /// Defined by the maker, from the device.
    VendorIn,
    /// USB488: trigger.
    Trigger,
    /// Any other.
    Other(u8),
}

impl MessageId {
    /// Its number.
    pub const fn number(self) -> u8 {
        match self {
            MessageId::DeviceDependentOut => 1,
            MessageId::DeviceDependentIn => 2,
            MessageId::VendorOut => 126,
            MessageId::VendorIn => 127,
            MessageId::Trigger => 128,
            MessageId::Other(number) => number,
        }
    }

    /// From its number.
    pub const fn from_number(number: u8) -> Self {
        match number {
            1 => MessageId::DeviceDependentOut,
            2 => MessageId::DeviceDependentIn,
            126 => MessageId::VendorOut,
            127 => MessageId::VendorIn,
            128 => MessageId::Trigger,
            other => MessageId::Other(other),
        }
    }
}

/// A header that makes sense.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Header {
    /// What the transfer is.
    pub message: MessageId,
    /// Tag, 1 to 255, that ties an answer to its request.
    pub tag: u8,
    /// Bytes of the message in this transfer, or most bytes asked for.
    pub size: u32,
    /// `bmTransferAttributes`: see [`END_OF_MESSAGE`] and [`TERMINATOR_IN_USE`].
    pub attributes: u8,
    /// The byte that ends an answer, where [`TERMINATOR_IN_USE`] is set in a request.
    pub terminator: u8,
}

/// The last byte of this transfer is the last of the message.
pub const END_OF_MESSAGE: u8 = 1;
/// In a request: the answer ends with a stated byte; in an answer: it did.
pub const TERMINATOR_IN_USE: u8 = 2;

/// What is wrong with a transfer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FramingError {
    /// Tag and its complement disagree, or the tag is 0.
    #[error("expected a tag from 1 to 255 with its complement, found {found}")]
    Tag {
        /// The header's first bytes.
        found: String,
    },
    /// Another kind of transfer than the one asked for.
    #[error("expected an answer, a transfer with the number 2, found number {found}")]
    Message {
        /// Its number.
        found: u8,
    },
    /// The answer to another request.
    #[error("expected the answer with tag {expected}, found tag {found}: an answer to an earlier request")]
    Late {
        /// Tag of the request.
        expected: u8,
        /// Tag of the answer.
        found: u8,
    },
    /// More than was asked for, or more than is taken.
    #[error("the answer announces {announced} bytes, and at most {limit} were asked for")]
    TooLarge {
        /// Announced number of bytes.
        announced: u64,
        /// Most bytes that are taken.
        limit: usize,
    },
    /// The transfer ended early.
    #[error("the transfer ends after {received} of {announced} bytes")]
    Short {
        /// Announced number of bytes, header included.
        announced: usize,
        /// Bytes that came.
        received: usize,
    },
    /// More than padding follows the message.
    #[error("{surplus} bytes follow the transfer, more than padding")]
    Surplus {
        /// Bytes behind the message.
        surplus: usize,
    },
}

impl Header {
    /// As bytes.
    pub fn bytes(&self) -> [u8; HEADER] {
        let mut bytes = [0; HEADER];
        bytes[field::MESSAGE] = self.message.number();
        bytes[field::TAG] = self.tag;
        bytes[field::TAG_INVERSE] = !self.tag;
        bytes[field::SIZE].copy_from_slice(&self.size.to_le_bytes());
        bytes[field::ATTRIBUTES] = self.attributes;
        bytes[field::TERMINATOR] = self.terminator;
        bytes
    }

    /// From bytes. Reserved bytes and bits are not looked at, as the standard asks.
    ///
    /// # Errors
    /// Tag and complement disagree.
    pub fn read(bytes: &[u8; HEADER]) -> Result<Self, FramingError> {
        let (tag, inverse) = (bytes[field::TAG], bytes[field::TAG_INVERSE]);
        if tag == 0 || inverse != !tag {
            return Err(FramingError::Tag { found: excerpt(&bytes[..4]) });
        }
        let [_, _, _, _, a, b, c, d, attributes, terminator, ..] = *bytes;
        Ok(Self {
            message: MessageId::from_number(bytes[field::MESSAGE]),
            tag,
            size: u32::from_le_bytes([a, b, c, d]),
            attributes,
            terminator,
        })
    }

    /// Whether the message ends with this transfer.
    pub fn ends_message(&self) -> bool {
        self.attributes & END_OF_MESSAGE != 0
    }
}

/// Tags in order: 1 to 255, then 1 again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tags {
    last: u8,
}

impl Default for Tags {
    fn default() -> Self {
        Self::new()
    }
}

impl Tags {
    /// The next one will be 1.
    pub const fn new() -> Self {
        Self { last: 0 }
    }

    /// The next tag.
    pub fn next_tag(&mut self) -> u8 {
        self.last = if self.last == u8::MAX { 1 } else { self.last + 1 };
        self.last
    }
}

/// A message as bulk-OUT transfers of at most `most` message bytes each (at least 1), padded to a multiple of four bytes.
pub fn out_transfers(message: &[u8], most: usize, tags: &mut Tags) -> Vec<Vec<u8>> {
    let most = most.clamp(1, u32::MAX as usize);
    let count = message.len().div_ceil(most).max(1);
    (0..count)
        .map(|index| {
            let part = &message[index * most..message.len().min((index + 1) * most)];
            let header = Header {
                message: MessageId::DeviceDependentOut,
                tag: tags.next_tag(),
                size: part.len() as u32,
                attributes: if index + 1 == count { END_OF_MESSAGE } else { 0 },
                terminator: 0,
            };
            padded(header, part)
        })
        .collect()
}

/// The transfer that asks for at most `most` bytes of an answer, with its tag.
pub fn request(most: u32, tags: &mut Tags) -> (u8, [u8; HEADER]) {
    let tag = tags.next_tag();
    let header =
        Header { message: MessageId::DeviceDependentIn, tag, size: most, attributes: 0, terminator: 0 };
    (tag, header.bytes())
}

/// A transfer of an answer, as a device makes it.
pub fn in_transfer(tag: u8, part: &[u8], attributes: u8) -> Vec<u8> {
    let size = u32::try_from(part.len()).unwrap_or(u32::MAX);
    padded(Header { message: MessageId::DeviceDependentIn, tag, size, attributes, terminator: 0 }, part)
}

fn padded(header: Header, part: &[u8]) -> Vec<u8> {
    let mut bytes = header.bytes().to_vec();
    bytes.extend_from_slice(part);
    bytes.resize(bytes.len().next_multiple_of(4), 0);
    bytes
}

/// One bulk-IN transfer, taken in packets.
#[derive(Clone, Debug)]
pub struct InTransfer {
    tag: u8,
    limit: usize,
    bytes: Vec<u8>,
    header: Option<Header>,
}

impl InTransfer {
    /// The answer to the request with this tag, for at most `limit` bytes.
    pub fn new(tag: u8, limit: usize) -> Self {
        Self { tag, limit, bytes: Vec::new(), header: None }
    }

    /// Takes a packet.
    ///
    /// # Errors
    /// It is not that answer, or too much.
    pub fn feed(&mut self, packet: &[u8]) -> Result<(), FramingError> {
        let mut rest = packet;
        if self.header.is_none() {
            let count = (HEADER - self.bytes.len()).min(rest.len());
            self.bytes.extend_from_slice(&rest[..count]);
            rest = &rest[count..];
            let Ok(bytes) = <&[u8; HEADER]>::try_from(self.bytes.as_slice()) else { return Ok(()) };
            self.header = Some(self.accept(bytes)?);
        }
        let header_size = self.header.map_or(0, |h| h.size as usize);
        // At most three bytes of padding.
        let most = HEADER + header_size + 3;
        if self.bytes.len() + rest.len() > most {
            return Err(FramingError::Surplus {
                surplus: self.bytes.len() + rest.len() - HEADER - header_size,
            });
        }
        self.bytes.extend_from_slice(rest);
        Ok(())
    }

    fn accept(&self, bytes: &[u8; HEADER]) -> Result<Header, FramingError> {
        let header = Header::read(bytes)?;
        if header.message != MessageId::DeviceDependentIn {
            return Err(FramingError::Message { found: header.message.number() });
        }
        if header.tag != self.tag {
            return Err(FramingError::Late { expected: self.tag, found: header.tag });
        }
        if header.size as usize > self.limit {
            return Err(FramingError::TooLarge { announced: u64::from(header.size), limit: self.limit });
        }
        Ok(header)
    }

    /// Whether all bytes of the message are there; padding may follow.
    pub fn is_complete(&self) -> bool {
        self.header.is_some_and(|h| self.bytes.len() >= HEADER + h.size as usize)
    }

    /// The transfer ended, with a short packet or because all is there: its part of the message, and whether the
    /// message ends with it.
    ///
    /// # Errors
    /// Bytes are missing.
    pub fn end(self) -> Result<(Header, Vec<u8>), FramingError> {
        let Self { mut bytes, header, .. } = self;
        let Some(header) = header else {
            return Err(FramingError::Short { announced: HEADER, received: bytes.len() });
        };
        let announced = HEADER + header.size as usize;
        if bytes.len() < announced {
            return Err(FramingError::Short { announced, received: bytes.len() });
        }
        bytes.truncate(announced);
        bytes.drain(..HEADER);
        Ok((header, bytes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// From memory: USBTMC 1.0, 3.2.1.1 and 3.3.1.1, the transfers of `*IDN?` with tag 1: EOM set, two bytes of padding.
    #[test]
    fn headers_of_the_specification() {
        let mut tags = Tags::new();
        let out = out_transfers(b"*IDN?\n", 64, &mut tags);
        assert_eq!(
            out,
            [[
                0x01, 0x01, 0xfe, 0x00, 0x06, 0, 0, 0, 0x01, 0, 0, 0, b'*', b'I', b'D', b'N', b'?', b'\n', 0,
                0
            ]]
        );
        assert_eq!(request(0x40, &mut tags), (2, [0x02, 0x02, 0xfd, 0x00, 0x40, 0, 0, 0, 0, 0, 0, 0]));
    }

    #[test]
    fn tags_skip_nought() {
        let mut tags = Tags::new();
        let all: Vec<u8> = (0..256).map(|_| tags.next_tag()).collect();
        assert_eq!((all[0], all[254], all[255]), (1, 255, 1));
    }

    #[test]
    fn faults_are_named() {
        let take = |bytes: &[u8]| {
            let mut transfer = InTransfer::new(7, 8);
            transfer.feed(bytes)?;
            transfer.end()
        };
        assert_eq!(take(&in_transfer(7, b"abc", END_OF_MESSAGE)).unwrap().1, b"abc");
        assert_eq!(take(&in_transfer(6, b"abc", 1)), Err(FramingError::Late { expected: 7, found: 6 }));
        assert_eq!(
            take(&in_transfer(7, b"123456789", 1)),
            Err(FramingError::TooLarge { announced: 9, limit: 8 })
        );
        assert_eq!(
            take(&in_transfer(7, b"abc", 1)[..14]),
            Err(FramingError::Short { announced: 15, received: 14 })
        );
        assert_eq!(take(b"ab"), Err(FramingError::Short { announced: 12, received: 2 }));
        assert!(matches!(take(&[2, 7, 7, 0, 0, 0, 0, 0, 0, 0, 0, 0]), Err(FramingError::Tag { .. })));
        assert_eq!(
            take(&out_transfers(b"", 8, &mut Tags { last: 6 })[0]),
            Err(FramingError::Message { found: 1 })
        );
        let long = [in_transfer(7, b"a", 1), vec![0]].concat();
        assert_eq!(take(&long), Err(FramingError::Surplus { surplus: 4 }));
    }

    proptest! {
        #[test]
        fn prop_messages_come_back_from_any_chunks_and_packets(
            message in prop::collection::vec(any::<u8>(), 0..200),
            most in 1usize..70,
            packet in 1usize..40,
        ) {
            let mut tags = Tags::new();
            let mut back = Vec::new();
            let transfers = out_transfers(&message, most, &mut tags);
            for (index, transfer) in transfers.iter().enumerate() {
                prop_assert_eq!(transfer.len() % 4, 0);
                // The same bytes as a device would send them.
                let mut transfer = transfer.clone();
                transfer[0] = 2;
                let mut taken = InTransfer::new(index as u8 + 1, most);
                for packet in transfer.chunks(packet) {
                    taken.feed(packet).unwrap();
                }
                prop_assert!(taken.is_complete());
                let (header, part) = taken.end().unwrap();
                prop_assert_eq!(header.ends_message(), index + 1 == transfers.len());
                back.extend(part);
            }
            prop_assert_eq!(back, message);
        }

        #[test]
        fn prop_headers_come_back(bytes: [u8; HEADER]) {
            if let Ok(header) = Header::read(&bytes) {
                prop_assert_eq!(Header::read(&header.bytes()), Ok(header));
            }
        }

        #[test]
        fn prop_any_packets_take_no_more_than_the_limit(packets: Vec<Vec<u8>>, tag: u8) {
            let mut transfer = InTransfer::new(tag, 16);
            for packet in &packets {
                if transfer.feed(packet).is_err() {
                    break;
                }
                prop_assert!(transfer.bytes.len() <= HEADER + 16 + 3);
            }
            let _ = transfer.end();
        }
    }
}
