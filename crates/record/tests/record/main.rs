//! Records from outside: a real bench, composed, written, and read back by readers that are not ours: poppler's
//! pdftotext, pdfinfo and pdffonts for PDF, roxmltree for HTML.

#![allow(clippy::unwrap_used)] // a test that cannot go on should stop where it stands

mod bench;
mod poppler;
mod records;
mod written;
