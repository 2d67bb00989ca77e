//! Numbers as instruments send them: codes in blocks, and lists of decimal numbers.
//!
//! Numbers in lists follow IEEE 488.2-1992, 8.7.2 to 8.7.4 (NR1, NR2, NR3) and 8.7.5 to 8.7.7 (`#H`, `#Q`, `#B`).
//! SCPI-1999, volume 1, 7.2.1.4 and 7.2.1.5: 9.9E37 and −9.9E37 stand for infinities, 9.91E37 for "not a number".

use crate::excerpt::excerpt;

/// From this magnitude on a number of a list stands for none: a little below SCPI's 9.9E37, for what prints fewer digits.
pub const NO_NUMBER: f64 = 9.8e37;

/// What one code of a block is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Code {
    /// Whole, 0 to 255.
    Unsigned8,
    /// Whole, −128 to 127.
    Signed8,
    /// Whole, two bytes, not negative.
    Unsigned16,
    /// Whole, two bytes.
    Signed16,
    /// Whole, four bytes, not negative.
    Unsigned32,
    /// Whole, four bytes.
    Signed32,
    /// IEEE 754 binary32.
    Float32,
    /// IEEE 754 binary64.
    Float64,
}

impl Code {
    /// Bytes of one code.
    pub const fn bytes(self) -> usize {
        match self {
            Code::Unsigned8 | Code::Signed8 => 1,
            Code::Unsigned16 | Code::Signed16 => 2,
            Code::Unsigned32 | Code::Signed32 | Code::Float32 => 4,
            Code::Float64 => 8,
        }
    }
}

/// Which byte of a code comes first. SCPI-1999 calls them NORMal and SWAPped (`FORMat:BORDer`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// The most significant one.
    MostSignificantFirst,
    /// The least significant one.
    LeastSignificantFirst,
}

/// What is wrong with numbers.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NumberError {
    /// The bytes do not make up whole codes.
    #[error("expected codes of {size} bytes each, found {bytes} bytes, {over} too many")]
    PartOfACode {
        /// Bytes of one code.
        size: usize,
        /// All bytes.
        bytes: usize,
        /// Bytes behind the last whole code.
        over: usize,
    },
    /// An element of a list is no number.
    #[error("expected a number as element {element}, found {found}")]
    NotANumber {
        /// Element, counted from 1.
        element: usize,
        /// What stands there.
        found: String,
    },
    /// The list is too long.
    #[error("the list has more than {limit} numbers")]
    TooMany {
        /// Most numbers that are taken.
        limit: usize,
    },
}

/// Codes of a block as numbers. Not-a-number and infinities of the float codes come through as they are.
///
/// # Errors
/// A code is cut short.
pub fn decode(bytes: &[u8], code: Code, order: Order) -> Result<Vec<f64>, NumberError> {
    let size = code.bytes();
    let over = bytes.len() % size;
    if over != 0 {
        return Err(NumberError::PartOfACode { size, bytes: bytes.len(), over });
    }
    let number = |chunk: &[u8]| -> f64 {
        // As if least significant first, in the low bytes.
        let mut low = [0u8; 8];
        for (index, &byte) in chunk.iter().enumerate() {
            let place = match order {
                Order::LeastSignificantFirst => index,
                Order::MostSignificantFirst => size - 1 - index,
            };
            low[place] = byte;
        }
        let [a, b, c, d, ..] = low;
        match code {
            Code::Unsigned8 => f64::from(a),
            Code::Signed8 => f64::from(i8::from_le_bytes([a])),
            Code::Unsigned16 => f64::from(u16::from_le_bytes([a, b])),
            Code::Signed16 => f64::from(i16::from_le_bytes([a, b])),
            Code::Unsigned32 => f64::from(u32::from_le_bytes([a, b, c, d])),
            Code::Signed32 => f64::from(i32::from_le_bytes([a, b, c, d])),
            Code::Float32 => f64::from(f32::from_le_bytes([a, b, c, d])),
            Code::Float64 => f64::from_le_bytes(low),
        }
    };
    Ok(bytes.chunks_exact(size).map(number).collect())
}

/// Numbers as codes, each the nearest that the code can hold.
pub fn encode(values: &[f64], code: Code, order: Order) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(values.len() * code.bytes());
    for &value in values {
        let whole = value.round();
        // `as` goes to the nearest bound, and from not-a-number to zero.
        let low = match code {
            Code::Unsigned8 => [whole as u8].to_vec(),
            Code::Signed8 => (whole as i8).to_le_bytes().to_vec(),
            Code::Unsigned16 => (whole as u16).to_le_bytes().to_vec(),
            Code::Signed16 => (whole as i16).to_le_bytes().to_vec(),
            Code::Unsigned32 => (whole as u32).to_le_bytes().to_vec(),
            Code::Signed32 => (whole as i32).to_le_bytes().to_vec(),
            Code::Float32 => (value as f32).to_le_bytes().to_vec(),
            Code::Float64 => value.to_le_bytes().to_vec(),
        };
        match order {
            Order::LeastSignificantFirst => bytes.extend(low),
            Order::MostSignificantFirst => bytes.extend(low.into_iter().rev()),
        }
    }
    bytes
}

/// Numbers between commas, semicolons or blanks. What stands for no number becomes not-a-number.
///
/// # Errors
/// An element is no number, or there are more than `limit`.
pub fn list(text: &[u8], limit: usize) -> Result<Vec<f64>, NumberError> {
    let text = text.trim_ascii();
    let mut values = Vec::new();
    if text.is_empty() {
        return Ok(values);
    }
    let separator =
        |b: &u8| if text.contains(&b',') { *b == b',' } else { *b == b';' || b.is_ascii_whitespace() };
    let several_blanks = !text.contains(&b',') && !text.contains(&b';');
    for element in text.split(separator) {
        if several_blanks && element.is_empty() {
            continue;
        }
        if values.len() == limit {
            return Err(NumberError::TooMany { limit });
        }
        let Some(value) = number(element) else {
            return Err(NumberError::NotANumber { element: values.len() + 1, found: excerpt(element) });
        };
        values.push(value);
    }
    Ok(values)
}

/// One number, with blanks around it.
pub fn number(text: &[u8]) -> Option<f64> {
    let text = text.trim_ascii();
    if let [b'#', base, digits @ ..] = text {
        let radix = match base.to_ascii_uppercase() {
            b'H' => 16,
            b'Q' => 8,
            b'B' => 2,
            _ => return None,
        };
        let digits = std::str::from_utf8(digits).ok().filter(|d| !d.starts_with('+'))?;
        return u64::from_str_radix(digits, radix).ok().map(|n| n as f64);
    }
    if !text.iter().all(|b| b.is_ascii_digit() || b"+-.eE".contains(b)) {
        return None;
    }
    let value: f64 = std::str::from_utf8(text).ok()?.parse().ok()?;
    Some(if value.abs() >= NO_NUMBER { f64::NAN } else { value })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const CODES: [Code; 8] = [
        Code::Unsigned8,
        Code::Signed8,
        Code::Unsigned16,
        Code::Signed16,
        Code::Unsigned32,
        Code::Signed32,
        Code::Float32,
        Code::Float64,
    ];
    const ORDERS: [Order; 2] = [Order::MostSignificantFirst, Order::LeastSignificantFirst];

    /// IEEE Std 754-2019, table 3.5 and 3.4: 1.0 is 3F800000 in binary32, −2 in binary64 is C000000000000000. Two's
    /// complement for the signed ones.
    #[test]
    fn codes_of_known_bytes() {
        let one = |bytes: &[u8], code| decode(bytes, code, Order::MostSignificantFirst).unwrap();
        assert_eq!(one(&[0x3f, 0x80, 0, 0], Code::Float32), [1.0]);
        assert_eq!(one(&[0xc0, 0, 0, 0, 0, 0, 0, 0], Code::Float64), [-2.0]);
        assert_eq!(one(&[0xff, 0x80, 0x7f], Code::Signed8), [-1.0, -128.0, 127.0]);
        assert_eq!(one(&[0xff, 0x80], Code::Unsigned8), [255.0, 128.0]);
        assert_eq!(one(&[0x80, 0x00, 0x01, 0x02], Code::Signed16), [-32768.0, 258.0]);
        assert_eq!(one(&[0x80, 0x00], Code::Unsigned16), [32768.0]);
        assert_eq!(one(&[0xff, 0xff, 0xff, 0xfe], Code::Signed32), [-2.0]);
        assert_eq!(one(&[0xff, 0xff, 0xff, 0xfe], Code::Unsigned32), [4_294_967_294.0]);
        assert_eq!(decode(&[1, 2], Code::Unsigned16, Order::LeastSignificantFirst).unwrap(), [513.0]);
        assert_eq!(
            decode(&[1, 2, 3], Code::Unsigned16, Order::LeastSignificantFirst),
            Err(NumberError::PartOfACode { size: 2, bytes: 3, over: 1 })
        );
    }

    #[test]
    fn lists() {
        let read = |text: &[u8]| list(text, 5);
        assert_eq!(read(b" 1,-2.5 , +3E-3\r\n").unwrap(), [1.0, -2.5, 0.003]);
        assert_eq!(read(b"1  2\t3").unwrap(), [1.0, 2.0, 3.0]);
        assert_eq!(read(b"1;2").unwrap(), [1.0, 2.0]);
        assert_eq!(read(b"#H1F,#q17,#B101").unwrap(), [31.0, 15.0, 5.0]);
        assert_eq!(read(b"").unwrap(), [0.0; 0]);
        assert!(read(b"9.91E37,-9.9E37").unwrap().iter().all(|v| v.is_nan()));
        assert_eq!(read(b"1,,2"), Err(NumberError::NotANumber { element: 2, found: "\"\"".into() }));
        assert_eq!(read(b"1,inf"), Err(NumberError::NotANumber { element: 2, found: "\"inf\"".into() }));
        assert_eq!(read(b"nan,1").unwrap_err().to_string(), "expected a number as element 1, found \"nan\"");
        assert_eq!(read(b"1,2,3,4,5,6"), Err(NumberError::TooMany { limit: 5 }));
        assert_eq!(number(b"#H+1"), None);
    }

    proptest! {
        #[test]
        fn prop_bytes_come_back_from_numbers(bytes in prop::collection::vec(any::<u8>(), 0..64)) {
            for (code, order) in CODES.into_iter().flat_map(|c| ORDERS.map(|o| (c, o))) {
                let whole = bytes.len() - bytes.len() % code.bytes();
                let values = decode(&bytes[..whole], code, order).unwrap();
                // Not-a-number has many codes.
                if values.iter().all(|v| !v.is_nan()) {
                    prop_assert_eq!(encode(&values, code, order), &bytes[..whole]);
                }
            }
        }

        #[test]
        fn prop_printed_numbers_come_back(values in prop::collection::vec(-1e30f64..1e30, 0..20)) {
            let text = values.iter().map(|v| format!("{v:e}")).collect::<Vec<_>>().join(",");
            prop_assert_eq!(list(text.as_bytes(), 20).unwrap(), values);
        }

        #[test]
        fn prop_any_text_is_read_or_refused(text: Vec<u8>) {
            if let Ok(values) = list(&text, 8) {
                prop_assert!(values.len() <= 8);
            }
        }
    }
}
