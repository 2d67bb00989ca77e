//! The page that the program serves: its files as they were built, packed and not, with what a server has to say of them.
//!
//! - Not done here: nothing is served; no request is known.
//! - In debug builds the files are read from `page/dist` when they are asked for, so that work on the page needs no compiler.
#![forbid(unsafe_code)]

use std::borrow::Cow;

use rust_embed::{Embed, EmbeddedFile};

#[derive(Embed)]
#[folder = "../../page/dist"]
struct Files;

/// How a file is packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Packing {
    /// Not at all.
    Plain,
    /// gzip.
    Gzip,
    /// Brotli.
    Brotli,
}

/// A file of the page.
#[derive(Clone, Debug)]
pub struct Asset {
    /// Its bytes, packed as it says.
    pub bytes: Cow<'static, [u8]>,
    /// How they are packed.
    pub packing: Packing,
    /// Media type.
    pub media_type: &'static str,
    /// Whether its name changes with its content, so that it can be kept for ever.
    pub is_immutable: bool,
    /// Digest of the bytes, in hexadecimal: the same for the same content and packing.
    pub tag: String,
}

/// The file of that name (`index.html`, `assets/…`), in the best packing that is accepted; `None` where there is none.
pub fn asset(name: &str, accepted: &[Packing]) -> Option<Asset> {
    // Only what was built is known; packed forms are no files of their own.
    if name.ends_with(".gz") || name.ends_with(".br") {
        return None;
    }
    let forms = [(Packing::Brotli, ".br"), (Packing::Gzip, ".gz")];
    let packed = forms
        .into_iter()
        .filter(|(packing, _)| accepted.contains(packing))
        .find_map(|(packing, ending)| Some((packing, Files::get(&format!("{name}{ending}"))?)));
    let (packing, file) = match packed {
        Some(found) => found,
        None => (Packing::Plain, Files::get(name)?),
    };
    Some(Asset {
        packing,
        media_type: media_type(name)?,
        is_immutable: name.starts_with("assets/"),
        tag: tag(&file),
        bytes: file.data,
    })
}

fn tag(file: &EmbeddedFile) -> String {
    let digest = file.metadata.sha256_hash();
    digest.iter().take(12).map(|byte| format!("{byte:02x}")).collect()
}

/// `None` for what a page has no use for.
fn media_type(name: &str) -> Option<&'static str> {
    Some(match name.rsplit_once('.')?.1 {
        "html" => "text/html; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "ico" => "image/x-icon",
        "json" => "application/json",
        "webmanifest" => "application/manifest+json",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_is_there_and_nothing_else() {
        let page = asset("index.html", &[]).unwrap();
        assert_eq!((page.packing, page.media_type), (Packing::Plain, "text/html; charset=utf-8"));
        assert!(!page.is_immutable && page.tag.len() == 24);
        for name in ["index.html.gz", "../package.json", "/etc/passwd", "src/main.tsx", ""] {
            assert!(asset(name, &[Packing::Gzip, Packing::Brotli]).is_none(), "{name}");
        }
    }
}
