//! WAV files: RIFF chunks, PCM and float samples, channels as columns.
//!
//! Layout after "Multimedia Programming Interface and Data Specifications 1.0" (1991) and the later `fmt ` extension with
//! a GUID (from memory); RF64 with its `ds64` chunk after EBU Tech 3306 (from memory).

use std::sync::Arc;

use flattop_core::finding::Finding;

use crate::ReadOptions;
use crate::bytes::Bytes;
use crate::capture::{Column, Contents};
use crate::columns::{self, Number, Strided};
use crate::error::ReadError;
use crate::select::{self, Kind};
use crate::widen::{ArrayBuild, Build};

/// Whether a file starts as a WAV file does.
pub(crate) fn is_wav(head: &[u8]) -> bool {
    head.len() >= 12 && (head.starts_with(b"RIFF") || head.starts_with(b"RF64")) && &head[8..12] == b"WAVE"
}

const SAVE_AGAIN: &str = "the file is damaged; save it again";

/// What the `fmt ` chunk says.
#[derive(Clone, Copy, Debug)]
struct Layout {
    channels: usize,
    rate_hz: u32,
    number: Number,
    frame: usize,
    /// Stored units for full scale.
    full_scale: f64,
}

/// Reads a WAV file.
pub(crate) fn read(file: &str, bytes: &Arc<Bytes>, options: &ReadOptions) -> Result<Contents, ReadError> {
    let given = select::given_interval(file, options)?;
    let mut findings = Vec::new();
    // A finding of the chunks says already that the data is cut.
    let (layout, data_at, data_len) = chunks(file, bytes, &mut findings)?;
    let points = data_len / layout.frame;
    if data_len % layout.frame != 0 && findings.is_empty() {
        let message =
            format!("the last sample is cut short; {} bytes were left out", data_len % layout.frame);
        findings.push(Finding::warning("data-cut-short", message, SAVE_AGAIN));
    }
    select::enough_points(file, points)?;
    let chosen = select::select(file, options, &vec![Kind::Value; layout.channels], &[])?;
    if given.is_some() {
        let message =
            format!("the file states {} samples a second, but the given interval is used", layout.rate_hz);
        findings.push(Finding::warning(
            "interval-overrides-time",
            message,
            "leave out --interval to use the file's own",
        ));
    }
    let mut column = |at: usize| {
        let size = layout.number.size();
        let strided =
            Strided { at: data_at + at * size, step: layout.frame, count: points, number: layout.number };
        let loaded = columns::load(bytes, &strided);
        columns::note(at, &loaded, &mut findings);
        Column {
            number: at + 1,
            name: None,
            unit: None,
            samples: loaded.samples,
            scale: 1.0 / layout.full_scale,
        }
    };
    let probe = column(chosen.probe);
    let reference = chosen.reference.map(&mut column);
    let message = "the file states no unit; full scale is taken as 1 V";
    findings.push(Finding::note("unit-assumed", message, ""));
    let interval_s = given.unwrap_or(1.0 / f64::from(layout.rate_hz));
    let build = ArrayBuild {
        at: data_at,
        number: layout.number,
        scale: 1.0 / layout.full_scale,
        planar: false,
        across: false,
    };
    let (build, columns) = (Build::Array(build), layout.channels);
    Ok(Contents { start_s: 0.0, interval_s, points, columns, probe, reference, findings, build })
}

fn fault(file: &str, byte: usize, expected: &str, found: impl Into<String>, remedy: &str) -> ReadError {
    let (file, expected, found, remedy) =
        (file.to_owned(), expected.to_owned(), found.into(), remedy.to_owned());
    ReadError::Byte { file, byte: byte as u64, expected, found, remedy }
}

/// Walks the chunks to the data: layout, first byte and length of the data that is there.
fn chunks(
    file: &str,
    bytes: &[u8],
    findings: &mut Vec<Finding>,
) -> Result<(Layout, usize, usize), ReadError> {
    let mut at = 12usize;
    let mut layout = None;
    let mut long_data = None;
    while let Some(head) = bytes.get(at..at.saturating_add(8)) {
        let stated = u32::from_le_bytes([head[4], head[5], head[6], head[7]]);
        let body_at = at + 8;
        let body = &bytes[body_at..];
        let mut len = stated as usize;
        match &head[..4] {
            b"ds64" if body.len() >= 16 => {
                let mut size = [0; 8];
                size.copy_from_slice(&body[8..16]);
                long_data = usize::try_from(u64::from_le_bytes(size)).ok();
            }
            b"fmt " => layout = Some(format(file, body_at, &body[..len.min(body.len())])?),
            b"data" => {
                let Some(layout) = layout else {
                    return Err(fault(
                        file,
                        at,
                        "the chunk \"fmt \" before the samples",
                        "\"data\"",
                        SAVE_AGAIN,
                    ));
                };
                if stated == u32::MAX {
                    len = long_data.unwrap_or(usize::MAX);
                }
                if len > body.len() {
                    let stated =
                        if len == usize::MAX { "no length".to_owned() } else { format!("{len} bytes") };
                    let message =
                        format!("the samples should have {stated}, {} are there; these are used", body.len());
                    findings.push(Finding::warning(
                        "data-cut-short",
                        message,
                        "copy or export the file again",
                    ));
                    len = body.len();
                }
                return Ok((layout, body_at, len));
            }
            _ => {}
        }
        // Chunks start at even bytes.
        at = body_at.saturating_add(len).saturating_add(len & 1);
    }
    Err(fault(
        file,
        at.min(bytes.len()),
        "a chunk \"data\" with the samples",
        "the end of the file",
        SAVE_AGAIN,
    ))
}

fn format(file: &str, at: usize, body: &[u8]) -> Result<Layout, ReadError> {
    if body.len() < 16 {
        return Err(fault(file, at, "16 bytes of format", format!("{}", body.len()), SAVE_AGAIN));
    }
    let short = |i: usize| u16::from_le_bytes([body[i], body[i + 1]]);
    let mut code = short(0);
    let channels = usize::from(short(2));
    let rate_hz = u32::from_le_bytes([body[4], body[5], body[6], body[7]]);
    let frame = usize::from(short(12));
    let bits = short(14);
    // WAVE_FORMAT_EXTENSIBLE: the first two bytes of the GUID are the code.
    if code == 0xfffe && body.len() >= 40 {
        code = short(24);
    }
    let (number, full_scale) = match (code, bits) {
        (1, 8) => (Number::Offset8, 128.0),
        (1, 16) => (Number::I16 { big: false }, 32_768.0),
        (1, 24) => (Number::I24, 8_388_608.0),
        (1, 32) => (Number::I32 { big: false }, 2_147_483_648.0),
        (3, 32) => (Number::F32 { big: false }, 1.0),
        (3, 64) => (Number::F64 { big: false }, 1.0),
        _ => {
            let found = format!("format {code} with {bits} bits");
            let expected = "PCM of 8, 16, 24 or 32 bits or float of 32 or 64 bits";
            return Err(fault(file, at, expected, found, "save it uncompressed as PCM or float"));
        }
    };
    if channels == 0 || frame != channels * number.size() {
        let found = format!("{channels} channels in {frame} bytes");
        return Err(fault(file, at + 2, "channels that fill the frame", found, SAVE_AGAIN));
    }
    if rate_hz == 0 {
        return Err(fault(file, at + 4, "a sample rate", "0", SAVE_AGAIN));
    }
    Ok(Layout { channels, rate_hz, number, frame, full_scale })
}

#[cfg(test)]
mod tests;
