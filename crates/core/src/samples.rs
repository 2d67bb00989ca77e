//! Evenly sampled records as the estimators see them: a borrowed view that knows nothing of files or instruments.

/// Borrowed samples in the number format they are stored in. NaN marks a missing sample.
#[derive(Clone, Copy, Debug)]
pub enum Raw<'a> {
    /// Double precision.
    F64(&'a [f64]),
    /// Single precision, for example a mapped NPY file.
    F32(&'a [f32]),
    /// 16-bit codes, for example a WAV file.
    I16(&'a [i16]),
}

/// Samples with the linear scale that turns what is stored into volts: `volts = offset + scale · stored`.
#[derive(Clone, Copy, Debug)]
pub struct SampleView<'a> {
    /// What is stored.
    pub raw: Raw<'a>,
    /// Volts per stored unit.
    pub scale: f64,
    /// Volts at stored zero.
    pub offset: f64,
}

impl<'a> SampleView<'a> {
    /// A view of volts in double precision.
    pub fn volts(samples: &'a [f64]) -> Self {
        Self { raw: Raw::F64(samples), scale: 1.0, offset: 0.0 }
    }

    /// Number of samples.
    pub fn len(&self) -> usize {
        match self.raw {
            Raw::F64(s) => s.len(),
            Raw::F32(s) => s.len(),
            Raw::I16(s) => s.len(),
        }
    }

    /// Whether there is no sample at all.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The sample at `index` in volts.
    ///
    /// # Panics
    /// When `index` is not below [`SampleView::len`].
    #[inline]
    pub fn at(&self, index: usize) -> f64 {
        let stored = match self.raw {
            Raw::F64(s) => s[index],
            Raw::F32(s) => f64::from(s[index]),
            Raw::I16(s) => f64::from(s[index]),
        };
        self.offset + self.scale * stored
    }

    /// The part of the view in `range`.
    ///
    /// # Panics
    /// When the range does not lie within the view.
    pub fn slice(&self, range: std::ops::Range<usize>) -> SampleView<'a> {
        let raw = match self.raw {
            Raw::F64(s) => Raw::F64(&s[range]),
            Raw::F32(s) => Raw::F32(&s[range]),
            Raw::I16(s) => Raw::I16(&s[range]),
        };
        SampleView { raw, ..*self }
    }

    /// All samples in volts, copied.
    pub fn to_vec(&self) -> Vec<f64> {
        (0..self.len()).map(|i| self.at(i)).collect()
    }
}

/// An evenly sampled record: sample `k` was taken at `start_s + k · interval_s`.
#[derive(Clone, Copy, Debug)]
pub struct Record<'a> {
    /// The probe's column.
    pub samples: SampleView<'a>,
    /// Time of the first sample, s.
    pub start_s: f64,
    /// Time between samples, s; above zero.
    pub interval_s: f64,
}
