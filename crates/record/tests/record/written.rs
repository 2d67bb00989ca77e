//! What comes out as PDF and as HTML, read back by other programs.

use std::time::Instant;

use flattop_core::bench::Stage;
use flattop_record::clauses::CLAUSES;
use flattop_record::compose::assessment::Again;
use flattop_record::document::Document;
use flattop_record::pdf::Paper;
use flattop_record::{html, pdf};

use crate::bench::{Bench, act, issue, nobody, plain, subject};
use crate::poppler::{flat, read};
use crate::records::{of_assessment, of_bench, of_period, strained, three};

/// Keeps what was written for people to look at, where they ask for it.
#[allow(clippy::disallowed_methods)] // for people to look at
fn keep(name: &str, document: &Document) {
    let Some(folder) = std::env::var_os("FLATTOP_KEEP_RECORDS") else { return };
    let folder = std::path::PathBuf::from(folder);
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join(format!("{name}.pdf")), pdf::write(document, Paper::A4).unwrap()).unwrap();
    std::fs::write(folder.join(format!("{name}.html")), html::write(document, Paper::A4)).unwrap();
}

#[test]
fn pdf_is_what_other_programs_take_it_for() {
    for (name, document) in three(&issue()) {
        keep(name, &document);
        for (paper, size) in
            [(Paper::A4, "595.276 x 841.89 pts (A4)"), (Paper::Letter, "612 x 792 pts (letter)")]
        {
            let seen = read(&pdf::write(&document, paper).unwrap());
            assert_eq!(seen.fact("Page size"), size, "{name}");
            assert!(seen.fact("Title").starts_with(&document.title), "{name}: {}", seen.info);
            assert_eq!(seen.fact("Author"), "keeper of the bench");
            assert_eq!(seen.fact("Creator"), "flattop 0.1.0");
            assert_eq!((seen.fact("JavaScript"), seen.fact("Encrypted")), ("no", "no"));
            let flat = seen.flat();
            let pages = seen.pages();
            for page in 1..=pages {
                assert!(flat.contains(&format!("page {page} of {pages}")), "{name}, page {page}");
            }
            for clause in CLAUSES {
                assert!(flat.contains(clause.field), "{name}: {} {}", clause.number, clause.field);
            }
            // Name, type, encoding, emb, sub, uni, object.
            assert!(!seen.fonts.is_empty());
            for font in &seen.fonts {
                let columns: Vec<&str> = font.split_whitespace().collect();
                assert_eq!(columns[columns.len() - 5..columns.len() - 2], ["yes", "yes", "yes"], "{font}");
                assert_eq!(columns[0].find('+'), Some(6), "a subset carries a tag of six letters: {font}");
            }
        }
    }
}

#[test]
fn pdf_text_keeps_the_signs_of_the_trade() {
    let all = Bench::year().read();
    let after = subject(10.9e-12, 98e-12);
    let seen =
        read(&pdf::write(&of_assessment(&all, 8, Again::Assessed(&after), &issue()), Paper::A4).unwrap());
    let flat = seen.flat();
    for sign in ["MΩ", "µs", "τp", "−", "±", "≤", "√3", "°", "·"] {
        assert!(flat.contains(sign), "{sign}: {flat}");
    }
    // Digests go over no line end, so that they can be copied.
    assert!(flat.contains(&all.entries[7].digest.to_string()), "{flat}");
    let period = read(&pdf::write(&of_period(&all, &issue()), Paper::A4).unwrap()).flat();
    for part in ["<b>order</b>", "25 Ω", "µF", "“quotes”", "&", "τ,", "≤,", "½,"] {
        assert!(period.contains(part), "{part}: {period}");
    }
}

#[test]
fn heads_of_tables_come_again_on_each_page() {
    let all = Bench::year().read();
    let seen = read(&pdf::write(&of_period(&all, &issue()), Paper::A4).unwrap());
    let pages: Vec<&str> = seen.text.split('\u{c}').collect();
    let with_rows: Vec<_> =
        pages.iter().filter(|page| page.matches("within tolerance, e").count() > 4).collect();
    assert!(with_rows.len() > 1, "{}", seen.text);
    for page in with_rows {
        assert!(page.contains("What it says") && page.contains("Digest"), "{page}");
    }
    assert!(seen.text.contains("(continued)"));
}

#[test]
fn strained_records_lose_nothing() {
    let all = strained();
    let after = Again::Not("the capture of entry 2 is not kept");
    for (name, document) in [
        ("strained-assessment", of_assessment(&all, 2, after, &nobody())),
        ("strained-bench", of_bench(&all, &nobody())),
        ("strained-period", of_period(&all, &nobody())),
        ("undetermined", of_assessment(&all, 3, Again::Not("the capture of entry 3 is not kept"), &issue())),
        ("empty", of_bench(&Bench::empty().read(), &nobody())),
    ] {
        keep(name, &document);
        let html = html::write(&document, Paper::Letter);
        let seen = read(&pdf::write(&document, Paper::Letter).unwrap());
        let sentence = "everything that went wrong on the day.";
        if name.starts_with("strained-") && name != "strained-bench" {
            assert_eq!(html.matches(sentence).count(), 160, "{name}");
            // Words may be apart at ends of lines; in a table other columns stand between them.
            assert_eq!(seen.text.matches("everything").count(), 160, "{name}");
        }
        parsed(&as_xml(&html));
    }
}

/// The page as XML: everything is closed and escaped, but for `meta` and `wbr`, which HTML leaves open.
fn as_xml(page: &str) -> String {
    let body = page.strip_prefix("<!DOCTYPE html>").unwrap();
    let body = body.replace("<wbr>", "");
    let mut parts = body.split("<meta ");
    let mut xml = parts.next().unwrap().to_owned();
    for part in parts {
        let (attributes, rest) = part.split_once('>').unwrap();
        xml.push_str(&format!("<meta {attributes}/>{rest}"));
    }
    xml
}

fn parsed(xml: &str) -> roxmltree::Document<'_> {
    let options = roxmltree::ParsingOptions { nodes_limit: 1 << 24, ..Default::default() };
    roxmltree::Document::parse_with_options(xml, options).unwrap_or_else(|error| panic!("{error}: {xml}"))
}

#[test]
fn html_is_well_formed_and_stands_by_itself() {
    for (name, document) in three(&issue()) {
        let page = html::write(&document, Paper::A4);
        let xml = as_xml(&page);
        let tree = parsed(&xml);
        let mut ids = std::collections::BTreeSet::new();
        for node in tree.descendants().filter(|node| node.is_element()) {
            let tag = node.tag_name().name();
            assert!(
                !["script", "link", "img", "iframe", "object", "embed", "form", "base"].contains(&tag),
                "{name}: {tag}"
            );
            for attribute in node.attributes() {
                let key = attribute.name();
                assert!(!key.starts_with("on") && !["src", "href", "srcset"].contains(&key), "{name}: {key}");
                assert!(!attribute.value().contains("http"), "{name}: {}", attribute.value());
                assert!(
                    key != "id" || ids.insert(attribute.value()),
                    "{name}: twice id {}",
                    attribute.value()
                );
            }
        }
        assert!(
            !page.contains("http:")
                && !page.contains("https:")
                && !page.contains("url(")
                && !page.contains("@import")
        );
        assert!(!page.contains("NaN") && !page.contains(">inf"), "{name}");
        let text: String = tree.descendants().filter_map(|node| node.text()).collect::<Vec<_>>().join(" ");
        let text = flat(&text);
        for clause in CLAUSES {
            assert!(text.contains(clause.field), "{name}: {} {}", clause.number, clause.field);
        }
        let figures = document
            .blocks
            .iter()
            .filter(|b| matches!(b, flattop_record::document::Block::Figure(_)))
            .count();
        assert_eq!(page.matches("<figure>").count(), figures);
        assert!(page.contains("size: A4") && html::write(&document, Paper::Letter).contains("size: letter"));
    }
}

#[test]
fn the_same_record_is_the_same_bytes() {
    let (first, second) = (three(&issue()), three(&issue()));
    for ((_, a), (_, b)) in first.iter().zip(&second) {
        assert_eq!(html::write(a, Paper::A4), html::write(b, Paper::A4));
        assert!(pdf::write(a, Paper::A4).unwrap() == pdf::write(b, Paper::A4).unwrap());
    }
}

#[test]
#[allow(clippy::disallowed_methods)] // the clock is what is tested
fn a_year_of_five_hundred_entries_takes_well_under_a_second() {
    let mut bench = Bench::year();
    for k in 0..460 {
        let note = (k % 5 == 0).then_some("tip cleaned, ground spring used");
        let record = plain(2e-3 * f64::from(k).sin(), Stage::Check);
        bench
            .register
            .log_assessment(1 + i64::from(k % 2), &record, &[], &act(40 + i64::from(k) / 2, note))
            .unwrap();
    }
    let all = bench.read();
    assert!(all.entries.len() >= 500);
    let start = Instant::now();
    let document = of_period(&all, &issue());
    let page = html::write(&document, Paper::A4);
    let html_s = start.elapsed().as_secs_f64();
    let bytes = pdf::write(&document, Paper::A4).unwrap();
    let pdf_s = start.elapsed().as_secs_f64() - html_s;
    println!("html {html_s:.3} s, {} bytes; pdf {pdf_s:.3} s, {} bytes", page.len(), bytes.len());
    keep("five-hundred", &document);
    assert!(read(&bytes).pages() > 10);
    // Generous: machines that run tests are busy.
    assert!(html_s < 5.0 && pdf_s < 10.0, "{html_s} s, {pdf_s} s");
}
