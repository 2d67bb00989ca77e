//! Sines: follows with its estimator.
use std::path::PathBuf;

use flattop_captures::ReadOptions;
use flattop_report::subject::{Failure, Subject};

use super::request::Request;

pub(super) fn run(_request: &Request, _files: &[PathBuf], _read: &ReadOptions) -> Result<Subject, Failure> {
    Err(Failure { file: String::new(), message: "sines are not in this build yet".into() })
}
