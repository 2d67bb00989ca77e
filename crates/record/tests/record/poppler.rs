//! Reading PDF back with poppler. It has to be there (`scripts/setup` installs it): no check is skipped.

use std::process::Command;

/// A PDF as poppler sees it.
pub(crate) struct Seen {
    pub(crate) text: String,
    pub(crate) info: String,
    /// One line for each font: name, type, encoding, emb, sub, uni.
    pub(crate) fonts: Vec<String>,
}

#[allow(clippy::disallowed_methods)] // poppler reads files
pub(crate) fn read(pdf: &[u8]) -> Seen {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.pdf");
    std::fs::write(&path, pdf).unwrap();
    let run = |program: &str, before: &[&str], after: &[&str]| {
        let out =
            Command::new(program).args(before).arg(&path).args(after).output().unwrap_or_else(|error| {
                panic!("{program} cannot be run ({error}): run scripts/setup, which installs poppler-utils")
            });
        assert!(out.status.success(), "{program}: {}", String::from_utf8_lossy(&out.stderr));
        assert_eq!(String::from_utf8_lossy(&out.stderr), "", "{program} complains");
        String::from_utf8(out.stdout).unwrap()
    };
    let fonts = run("pdffonts", &[], &[]);
    Seen {
        text: run("pdftotext", &["-layout", "-enc", "UTF-8"], &["-"]),
        info: run("pdfinfo", &[], &[]),
        fonts: fonts.lines().skip(2).map(str::to_owned).collect(),
    }
}

impl Seen {
    /// What pdfinfo says of this.
    pub(crate) fn fact(&self, name: &str) -> &str {
        let line = self.info.lines().find(|line| line.starts_with(&format!("{name}:")));
        line.and_then(|line| line.split_once(':')).map_or("", |(_, value)| value.trim())
    }

    pub(crate) fn pages(&self) -> usize {
        self.fact("Pages").parse().unwrap()
    }

    /// The text with all white space as single spaces, as lines may be broken anywhere.
    pub(crate) fn flat(&self) -> String {
        flat(&self.text)
    }
}

pub(crate) fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
