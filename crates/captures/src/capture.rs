//! A capture as read: evenly sampled columns, where they came from, and what was repaired on the way.

use std::fmt;
use std::sync::Arc;

use flattop_core::finding::Finding;
use flattop_core::samples::{Raw, Record, SampleView};
use memmap2::MmapMut;

use crate::bytes::Bytes;
use crate::digest::Digest;
use crate::widen::Build;

/// What kind of content a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content {
    /// Delimited text.
    Text,
    /// NPY array.
    Npy,
    /// RIFF WAVE.
    Wav,
}

/// How the content is packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Packing {
    /// Not packed.
    Plain,
    /// gzip (RFC 1952).
    Gzip,
    /// Zstandard (RFC 8878).
    Zstd,
}

/// The format a capture was read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Format {
    /// Content.
    pub content: Content,
    /// Packing around the content.
    pub packing: Packing,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.content {
            Content::Text => "delimited text",
            Content::Npy => "NPY",
            Content::Wav => "WAV",
        })?;
        f.write_str(match self.packing {
            Packing::Plain => "",
            Packing::Gzip => " in gzip",
            Packing::Zstd => " in zstd",
        })
    }
}

/// A capture as read.
#[derive(Debug)]
pub struct Capture {
    /// Time of the first sample, s.
    pub start_s: f64,
    /// Time between samples, s; above zero.
    pub interval_s: f64,
    /// Number of samples in each column.
    pub points: usize,
    /// Number of columns in the file, a time or index column counted too.
    pub columns: usize,
    /// The probe's column.
    pub probe: Column,
    /// The column of the source itself, when one was asked for.
    pub reference: Option<Column>,
    /// What the file was.
    pub format: Format,
    /// Everything that was assumed or repaired.
    pub findings: Vec<Finding>,
    pub(crate) digest: Digest,
    /// Name for messages, the bytes of the file, and how they are built: for writing it again.
    pub(crate) file: String,
    pub(crate) bytes: Arc<Bytes>,
    pub(crate) build: Build,
}

/// What a reader of one format gives.
pub(crate) struct Contents {
    pub(crate) start_s: f64,
    pub(crate) interval_s: f64,
    pub(crate) points: usize,
    pub(crate) columns: usize,
    pub(crate) probe: Column,
    pub(crate) reference: Option<Column>,
    pub(crate) findings: Vec<Finding>,
    pub(crate) build: Build,
}

impl Capture {
    pub(crate) fn new(
        file: &str,
        format: Format,
        contents: Contents,
        digest: Digest,
        bytes: &Arc<Bytes>,
    ) -> Self {
        let Contents { start_s, interval_s, points, columns, probe, reference, findings, build } = contents;
        let (file, bytes) = (file.to_owned(), Arc::clone(bytes));
        Self {
            start_s,
            interval_s,
            points,
            columns,
            probe,
            reference,
            format,
            findings,
            digest,
            file,
            bytes,
            build,
        }
    }

    /// SHA-256 of the file's bytes as on disk, in lower-case hexadecimal.
    ///
    /// For large files it is computed beside other work; the first call waits for it.
    pub fn sha256(&self) -> &str {
        self.digest.wait()
    }

    /// The probe's column with its time base.
    pub fn record(&self) -> Record<'_> {
        Record { samples: self.probe.view(), start_s: self.start_s, interval_s: self.interval_s }
    }

    /// The reference column with its time base.
    pub fn reference_record(&self) -> Option<Record<'_>> {
        let samples = self.reference.as_ref()?.view();
        Some(Record { samples, start_s: self.start_s, interval_s: self.interval_s })
    }
}

/// One column of samples.
#[derive(Debug)]
pub struct Column {
    /// Number among all columns of the file, from 1.
    pub number: usize,
    /// Name as written in the file.
    pub name: Option<String>,
    /// Unit as written in the file.
    pub unit: Option<String>,
    pub(crate) samples: Samples,
    /// Volts per stored unit.
    pub(crate) scale: f64,
}

impl Column {
    /// The samples as they are stored, in the unit of the file.
    pub fn stored(&self) -> SampleView<'_> {
        SampleView { raw: self.samples.raw(), scale: 1.0, offset: 0.0 }
    }

    /// Volts per stored unit.
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// The samples in volts.
    pub fn view(&self) -> SampleView<'_> {
        SampleView { raw: self.samples.raw(), scale: self.scale, offset: 0.0 }
    }
}

/// Where the samples of a column live.
pub(crate) enum Samples {
    F64(Vec<f64>),
    F32(Vec<f32>),
    I16(Vec<i16>),
    /// Double precision in pages of their own (see [`Samples::zeroed`]).
    Pages(MmapMut, usize),
    /// In place in the file's bytes; built by [`Samples::in_place`] only, which checks the alignment.
    InPlace(Arc<Bytes>, std::ops::Range<usize>, Stored),
}

impl fmt::Debug for Samples {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let kind = match self.raw() {
            Raw::F64(_) => "doubles",
            Raw::F32(_) => "singles",
            Raw::I16(_) => "16-bit codes",
        };
        let place = if matches!(self, Self::InPlace(..)) { " in place" } else { "" };
        write!(f, "{} {kind}{place}", SampleView { raw: self.raw(), scale: 1.0, offset: 0.0 }.len())
    }
}

/// Number formats that can be used in place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stored {
    F64,
    F32,
    I16,
}

/// From this size on, samples get their own pages, on which huge pages can be asked for.
const PAGES_FROM_BYTES: usize = 8 << 20;

impl Samples {
    /// Room for `len` samples in double precision, all zero.
    ///
    /// Large ones are mapped and marked for huge pages: first touch of 4 KiB pages costs more than parsing.
    pub(crate) fn zeroed(len: usize) -> Self {
        let bytes = len.saturating_mul(size_of::<f64>());
        if bytes >= PAGES_FROM_BYTES
            && let Ok(map) = MmapMut::map_anon(bytes)
        {
            #[cfg(target_os = "linux")]
            let _ = map.advise(memmap2::Advice::HugePage); // only a hint
            return Self::Pages(map, len);
        }
        Self::F64(vec![0.0; len])
    }

    /// The samples for writing; only those in double precision.
    pub(crate) fn doubles_mut(&mut self) -> &mut [f64] {
        match self {
            Self::F64(v) => v,
            Self::Pages(map, len) => &mut bytemuck::cast_slice_mut(map)[..*len],
            _ => &mut [],
        }
    }

    /// Adds a sample at the end; only to those in double precision that have no pages of their own.
    pub(crate) fn append(&mut self, value: f64) {
        match self {
            Self::F64(v) => v.push(value),
            Self::Pages(map, len) => {
                let mut all = bytemuck::cast_slice::<u8, f64>(map)[..*len].to_vec();
                all.push(value);
                *self = Self::F64(all);
            }
            _ => {}
        }
    }

    /// Keeps the first `len` samples.
    pub(crate) fn truncate(&mut self, len: usize) {
        match self {
            Self::F64(v) => v.truncate(len),
            Self::F32(v) => v.truncate(len),
            Self::I16(v) => v.truncate(len),
            Self::Pages(_, kept) => *kept = len.min(*kept),
            Self::InPlace(..) => {}
        }
    }

    /// Samples in place in `bytes[range]`, or `None` when they are not aligned for their type.
    pub(crate) fn in_place(
        bytes: &Arc<Bytes>,
        range: std::ops::Range<usize>,
        stored: Stored,
    ) -> Option<Self> {
        let part = bytes.get(range.clone())?;
        let fits = match stored {
            Stored::F64 => bytemuck::try_cast_slice::<u8, f64>(part).is_ok(),
            Stored::F32 => bytemuck::try_cast_slice::<u8, f32>(part).is_ok(),
            Stored::I16 => bytemuck::try_cast_slice::<u8, i16>(part).is_ok(),
        };
        fits.then(|| Self::InPlace(Arc::clone(bytes), range, stored))
    }

    pub(crate) fn raw(&self) -> Raw<'_> {
        match self {
            Self::F64(v) => Raw::F64(v),
            Self::F32(v) => Raw::F32(v),
            Self::I16(v) => Raw::I16(v),
            Self::Pages(map, len) => Raw::F64(&bytemuck::cast_slice(map)[..*len]),
            Self::InPlace(bytes, range, stored) => {
                let part = &bytes[range.clone()];
                match stored {
                    Stored::F64 => Raw::F64(bytemuck::cast_slice(part)),
                    Stored::F32 => Raw::F32(bytemuck::cast_slice(part)),
                    Stored::I16 => Raw::I16(bytemuck::cast_slice(part)),
                }
            }
        }
    }
}
