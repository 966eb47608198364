//! The listing as a page.

use super::{Listing, NOTES, QUALITY};
use crate::report::html::{close, open, picture, put};
use crate::report::thumbnail::jpeg;
use maud::html;
use std::io::{Result, Write};

/// Writes the page.
pub(super) fn write(listing: &Listing, out: &mut dyn Write) -> Result<()> {
    let Listing { title, facts, limits, picture: image } = listing;
    open(title, None, out)?;
    let seen = picture("jpeg", &jpeg(image, QUALITY), &format!("Photo of {title}"), image.dimensions());
    put(
        out,
        &html! {
            main.sheet {
                h1 { (title) }
                (seen)
                table {
                    caption { "As measured in the photo" }
                    tbody { @for (name, value) in facts { tr { th scope="row" { (name) } td { (value) } } } }
                }
                @if !limits.is_empty() {
                    h2 { "What to know of this plant" }
                    ul { @for limit in limits { li { (limit) } } }
                }
                h2 { "Please note" }
                ul { @for note in NOTES { li { (note) } } }
            }
        },
    )?;
    close(None, out)
}
