//! The frame of every page: it opens from disk, asks nothing of any network and runs no script.

use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The style, in the page itself.
const STYLE: &str = include_str!("style.css");

/// SHA-256 of the style, in Base64: no other style may act on the page.
pub(super) const STYLE_DIGEST: &str = "I4ZE5Lmo4HkQTLdkx3/0jVbeE+emegrEuL730x6UqHo=";

/// How every page begins, so that one is known from other files.
pub const START: &str = "<!DOCTYPE html><html lang=\"en\"><head><meta charset=\"utf-8\">\
                         <meta http-equiv=\"Content-Security-Policy\"";

/// What a page was made from.
#[derive(Clone, Copy, Debug)]
pub struct Origin<'a> {
    /// The source, as it was named.
    pub source: &'a str,
    /// The collection's revision.
    pub revision: Option<i64>,
    /// Digest of the data.
    pub sha256: Option<&'a str>,
    /// The day the page was made, `2024-05-31`.
    pub on: &'a str,
}

/// A whole page.
pub(super) fn document(title: &str, body: &Markup, origin: &Origin<'_>) -> String {
    let policy = format!(
        "default-src 'none'; style-src 'sha256-{STYLE_DIGEST}'; base-uri 'none'; form-action 'none'"
    );
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="referrer" content="no-referrer";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (body)
                footer {
                    h2 { "Where this comes from" }
                    dl class="origin" {
                        div { dt { "source" } dd { (crate::words::shown(origin.source)) } }
                        @if let Some(revision) = origin.revision {
                            div { dt { "revision" } dd { (revision) } }
                        }
                        @if let Some(digest) = origin.sha256 {
                            div { dt { "SHA-256 of the data" } dd class="digest" { (digest) } }
                        }
                        div { dt { "made by" } dd { "calibriar " (env!("CARGO_PKG_VERSION")) } }
                        div { dt { "made on" } dd { (origin.on) } }
                    }
                    p { (crate::words::SCOPE) }
                }
            }
        }
    };
    page.into_string()
}

/// A sentence that begins with a capital.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

/// A table that may be wider than the page: it scrolls sideways, also by keys.
pub(super) fn wide(name: &str, inside: &Markup) -> Markup {
    scrolling("wide", name, inside)
}

/// The same for a picture that cannot be read on a narrow page.
pub(super) fn broad(name: &str, inside: &Markup) -> Markup {
    scrolling("broad", name, inside)
}

fn scrolling(class: &str, name: &str, inside: &Markup) -> Markup {
    html! {
        div class=(class) tabindex="0" role="region" aria-label=(format!("{name}, scrolls sideways")) { (inside) }
    }
}

/// A name as it can stand in an `id`: letters, digits and dashes.
pub(super) fn id_of(name: &str) -> String {
    let sign = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    name.chars().map(sign).collect()
}

/// A picture with a name and a description for those who do not see it.
pub(super) fn picture(
    id: &str,
    name: &str,
    told: &str,
    (width, height): (f64, f64),
    drawn: &Markup,
) -> Markup {
    let (name_id, told_id) = (format!("{id}-name"), format!("{id}-told"));
    html! {
        svg class="picture" role="img" aria-labelledby=(name_id) aria-describedby=(told_id)
            viewBox=(format!("0 0 {} {}", super::scale::px(width), super::scale::px(height))) {
            title id=(name_id) { (name) }
            desc id=(told_id) { (told) }
            (drawn)
        }
    }
}

/// Every picture of a page as an SVG file of its own: name and text, in the order of the page. Colours are those
/// of the light page, written out, as not every program that shows SVG knows variables.
pub fn pictures(page: &str) -> Vec<(String, String)> {
    const FROM: &str = "<svg class=\"picture\"";
    let style = picture_style();
    let mut pictures = Vec::new();
    for part in page.split(FROM).skip(1) {
        // Pictures hold no others.
        let (drawn, _) = part.split_once("</svg>").unwrap_or((part, ""));
        let id = drawn.split_once("aria-labelledby=\"").map(|(_, rest)| rest);
        let id = id.and_then(|rest| rest.split_once("-name\""));
        let (Some((id, _)), Some((tag, inside))) = (id, drawn.split_once('>')) else {
            continue;
        };
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"picture\"{tag}><style>{style}</style>{}</svg>\n",
            without_data(inside)
        );
        pictures.push((id.to_owned(), svg));
    }
    pictures
}

/// The rules for pictures, with the colours of the light page.
fn picture_style() -> String {
    let (_, rules) = STYLE.split_once("/* pictures */").unwrap_or(("", STYLE));
    let (rules, _) = rules
        .split_once("/* end of pictures */")
        .unwrap_or((rules, ""));
    let (colours, _) = STYLE.split_once('}').unwrap_or((STYLE, ""));
    let mut style = rules.trim().to_owned();
    for colour in colours.lines() {
        if let Some((name, value)) = colour.trim().trim_end_matches(';').split_once(": ") {
            style = style.replace(&format!("var({name})"), value);
        }
    }
    style
}

/// Markup without the numbers that only tests and scripts ask for.
fn without_data(markup: &str) -> String {
    let mut parts = markup.split(" data-");
    let first = parts.next().unwrap_or("").to_owned();
    parts.fold(first, |all, part| {
        // Text that happens to read so has no value in quotes behind it.
        match part.split_once("=\"").and_then(|(name, rest)| {
            let is_name = name.chars().all(|c| c.is_ascii_lowercase() || c == '-');
            rest.split_once('"').filter(|_| is_name)
        }) {
            Some((_, rest)) => all + rest,
            None => all + " data-" + part,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use sha2::{Digest as _, Sha256};

    /// Base64 as RFC 4648 writes it.
    fn base64(bytes: &[u8]) -> String {
        const SIGNS: &[u8; 64] =
            b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        let group = |three: &[u8]| {
            let all = three.iter().fold(0u32, |all, &b| all << 8 | u32::from(b))
                << (8 * (3 - three.len()));
            let sign = |at: usize| match at <= three.len() {
                true => SIGNS[(all >> (18 - 6 * at) & 63) as usize] as char,
                false => '=',
            };
            (0..4).map(sign).collect::<String>()
        };
        bytes.chunks(3).map(group).collect()
    }

    #[test]
    fn pictures_stand_alone() {
        let drawn = html! { circle class="peak" cx="1" data-at="3" data-x-low="4" r="2" {} text { "a data-b c" } };
        let page = picture("one", "One", "told", (10.0, 5.0), &drawn).into_string();
        let all = pictures(&(page.clone() + &page));
        assert_eq!(all.len(), 2);
        let (name, svg) = &all[0];
        assert_eq!(name, "one");
        assert!(
            svg.contains(r#"<circle class="peak" cx="1" r="2">"#),
            "{svg}"
        );
        assert!(svg.contains("a data-b c") && svg.contains("viewBox=\"0 0 10 5\""));
        assert!(
            !svg.contains("var(") && svg.contains("fill: #fbf8f2; stroke: #b24a00"),
            "{svg}"
        );
    }

    #[test]
    fn the_policy_names_the_style_that_is_there() {
        // RFC 4648, section 10.
        assert_eq!(
            ["f", "fo", "foo", "foob"].map(|t| base64(t.as_bytes())),
            ["Zg==", "Zm8=", "Zm9v", "Zm9vYg=="]
        );
        assert_eq!(base64(&Sha256::digest(STYLE.as_bytes())), STYLE_DIGEST);
    }
}
