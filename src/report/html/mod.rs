//! HTML pages: one file each, offline, readable without script. Texts are escaped by the `html!` macro, which offers no other
//! way but `PreEscaped`; what a terminal or a direction of writing would obey is taken out in `put`, through which all text passes.

pub mod batch;
mod numbers;
mod plant;
mod plots;
mod table;
pub(super) mod theme;

use super::text::shown;
use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use maud::{Markup, PreEscaped, html};
use sha2::{Digest, Sha256};
use std::io::{Result, Write};

/// Begins a page. Its content security policy lets nothing be loaded from anywhere: pictures inside the page, this style
/// and this script (by their hashes) alone.
pub(super) fn open(title: &str, script: Option<&str>, out: &mut dyn Write) -> Result<()> {
    let style = theme::css();
    let scripts = script.map_or_else(|| "'none'".into(), hash);
    let policy = format!(
        "default-src 'none'; img-src data:; style-src {}; script-src {scripts}; base-uri 'none'; form-action 'none'",
        hash(&style)
    );
    out.write_all(b"<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n")?;
    put(
        out,
        &html! {
            meta charset="utf-8";
            meta http-equiv="Content-Security-Policy" content=(policy);
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="referrer" content="no-referrer";
            meta name="color-scheme" content="light dark";
            title { (title) }
        },
    )?;
    write!(out, "<style>{style}</style>\n</head>\n<body>\n")
}

/// Ends a page that was begun with the same script.
pub(super) fn close(script: Option<&str>, out: &mut dyn Write) -> Result<()> {
    if let Some(script) = script {
        writeln!(out, "<script>{script}</script>")?;
    }
    out.write_all(b"</body>\n</html>\n")
}

/// Writes a piece of a page.
pub(super) fn put(out: &mut dyn Write, piece: &Markup) -> Result<()> {
    writeln!(out, "{}", shown(&piece.0))
}

/// A picture, its bytes in the page.
pub(super) fn picture(kind: &str, bytes: &[u8], alt: &str, (width, height): (u32, u32)) -> Markup {
    let data = format!("data:image/{kind};base64,{}", BASE64_STANDARD.encode(bytes));
    html! { img src=(PreEscaped(data)) alt=(alt) width=(width) height=(height); }
}

/// The source of a content security policy that a text of these bytes matches (CSP level 2, "hash-source").
fn hash(text: &str) -> String {
    format!("'sha256-{}'", BASE64_STANDARD.encode(Sha256::digest(text)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_policy_names_the_hash_of_the_style_and_the_script_in_the_page() {
        let mut page = Vec::new();
        open("a < b", Some("let a = 1 < 2;"), &mut page).unwrap();
        close(Some("let a = 1 < 2;"), &mut page).unwrap();
        let page = String::from_utf8(page).unwrap();
        let between = |from: &str, to: &str| page.split_once(from).unwrap().1.split_once(to).unwrap().0;
        let [style, script] = [between("<style>", "</style>"), between("<script>", "</script>")];
        let policy = between("content=\"", "\"");
        assert!(policy.contains(&format!("style-src {};", hash(style))), "{policy}");
        assert!(policy.contains(&format!("script-src {};", hash(script))), "{policy}");
        assert!(policy.starts_with("default-src 'none'; img-src data:;"), "{policy}");
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(between("<title>", "</title>"), "a &lt; b");
    }

    /// The hash of the CSP 2 recommendation's example: `alert('Hello, world.');`.
    #[test]
    fn a_hash_is_that_of_the_recommendation() {
        assert_eq!(hash("alert('Hello, world.');"), "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='");
    }

    #[test]
    fn no_text_leaves_its_place() {
        let evil = "</title><script>x</script>\" onload=\"'\u{1b}[2J\u{202e}";
        let mut out = Vec::new();
        put(&mut out, &html! { p title=(evil) { (evil) } }).unwrap();
        let text = String::from_utf8(out).unwrap();
        assert_eq!(text.matches('<').count(), 2, "{text}");
        assert_eq!(text.matches('"').count(), 2, "{text}");
        assert!(!text.contains(['\u{1b}', '\u{202e}']), "{text}");
    }
}
