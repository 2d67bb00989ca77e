//! A scene as an SVG 1.1 document (W3C Recommendation, second edition, 2011).

use std::fmt::Write;

use super::scene::{Anchor, Dash, Paint, Scene, Shape, Stroke};

/// The document, with a title and a description for screen readers.
pub(crate) fn write(scene: &Scene) -> String {
    let mut out = String::with_capacity(64 * 1024);
    out.push_str("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    // Writing to a String does not fail.
    let _ = element(&mut out, scene, r#"xmlns="http://www.w3.org/2000/svg" "#, "");
    out
}

/// The drawing as an element inside an HTML page. `name` keeps the ids of several drawings on one page apart.
pub fn inline(scene: &Scene, name: &str) -> String {
    let mut out = String::with_capacity(64 * 1024);
    let _ = element(&mut out, scene, "", &format!("{name}-"));
    out
}

fn element(out: &mut String, scene: &Scene, namespace: &str, prefix: &str) -> std::fmt::Result {
    let (width, height) = (scene.width, scene.height);
    writeln!(
        out,
        r#"<svg {namespace}width="{width}" height="{height}" viewBox="0 0 {width} {height}" role="img" aria-labelledby="{prefix}title {prefix}description" font-family="sans-serif">"#
    )?;
    writeln!(out, r#"<title id="{prefix}title">{}</title>"#, escaped(&scene.title))?;
    writeln!(out, r#"<desc id="{prefix}description">{}</desc>"#, escaped(&scene.description))?;
    for shape in &scene.shapes {
        match shape {
            Shape::Line { points, stroke } => {
                writeln!(out, r#"<path d="{}" fill="none"{}/>"#, path(points), stroked(*stroke))?;
            }
            Shape::Area { points, fill } => {
                writeln!(out, r#"<path d="{}Z"{}/>"#, path(points), filled(*fill))?;
            }
            Shape::Disc { at, radius, fill } => {
                writeln!(
                    out,
                    r#"<circle cx="{:.2}" cy="{:.2}" r="{radius}"{}/>"#,
                    at.0,
                    at.1,
                    filled(*fill)
                )?;
            }
            Shape::Text { at, size, paint, anchor, turned, text } => {
                let (x, y) = *at;
                let anchor = match anchor {
                    Anchor::Start => "",
                    Anchor::Middle => r#" text-anchor="middle""#,
                    Anchor::End => r#" text-anchor="end""#,
                };
                let turn = if turned.abs() > 0.0 {
                    format!(r#" transform="rotate({turned} {x:.2} {y:.2})""#)
                } else {
                    String::new()
                };
                writeln!(
                    out,
                    r#"<text x="{x:.2}" y="{y:.2}" font-size="{size}"{}{anchor}{turn}>{}</text>"#,
                    filled(*paint),
                    escaped(text)
                )?;
            }
        }
    }
    writeln!(out, "</svg>")
}

fn path(points: &[(f64, f64)]) -> String {
    let mut out = String::with_capacity(14 * points.len());
    for (index, (x, y)) in points.iter().enumerate() {
        let _ = write!(out, "{}{x:.2} {y:.2}", if index == 0 { 'M' } else { 'L' });
    }
    out
}

fn stroked(stroke: Stroke) -> String {
    let Stroke { paint, width, dash } = stroke;
    let dash = match dash {
        Dash::Solid => "",
        Dash::Dashed => r#" stroke-dasharray="6 4""#,
    };
    format!(
        r#" stroke="{}" stroke-width="{width}" stroke-linejoin="round"{dash}{}"#,
        colour(paint),
        opacity("stroke-opacity", paint)
    )
}

fn filled(paint: Paint) -> String {
    format!(r#" fill="{}"{}"#, colour(paint), opacity("fill-opacity", paint))
}

fn colour(paint: Paint) -> String {
    let [r, g, b] = paint.rgb;
    format!("#{r:02x}{g:02x}{b:02x}")
}

fn opacity(name: &str, paint: Paint) -> String {
    if paint.opacity < 1.0 { format!(r#" {name}="{}""#, paint.opacity) } else { String::new() }
}

/// Text without markup, and without the control characters that XML 1.0 does not admit.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\t' => out.push(' '),
            c if c.is_control() || c == '\u{fffe}' || c == '\u{ffff}' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}
