//! Any bytes as what a code says, as a grey picture, or as spots on a drawn card; the first byte says which.
#![no_main]

mod forgive;

use std::sync::LazyLock;
use variegauge::base::raster::Raster;
use variegauge::card::layout::CARD;
use variegauge::card::number::{parse_payload, payload};
use variegauge::print::card::Label;
use variegauge::print::sheet::{self, Paper};
use variegauge::print::svg;
use variegauge::photo::{self, Photo, Primaries};
use variegauge::{card, report};

type Picture = Raster<[u8; 3]>;

/// The card of plant 7, about 320 x 200 pixels.
static DRAWN: LazyLock<Picture> = LazyLock::new(|| {
    let label = Label { number: "7".parse().expect("a number"), name: None };
    let (mut drawing, mut png) = (Vec::new(), Vec::new());
    svg::write(&sheet::pages(&CARD, &[label], Paper::Single)[0], "7", &mut drawing).expect("memory");
    report::raster::png(&drawing, &mut png).expect("a drawing");
    let large = photo::decode(&png).expect("a picture").rgb;
    let (width, height) = (large.width() / 2, large.height() / 2);
    Raster::from_vec(width, height, (0..width * height).map(|i| large.get(i % width * 2, i / width * 2)).collect())
});

/// The first byte is the width less 1, each further one the grey of a pixel.
fn grey(bytes: &[u8]) -> Option<Picture> {
    let (width, greys) = (usize::from(*bytes.first()?) + 1, &bytes[1..]);
    let rows = greys.len() / width;
    (rows > 0).then(|| Raster::from_vec(width, rows, greys[..rows * width].iter().map(|&grey| [grey; 3]).collect()))
}

/// The drawn card with a rectangle of one grey for every five bytes: left, top, width, height (2 pixels a unit), grey.
fn spotted(bytes: &[u8]) -> Picture {
    let mut picture = DRAWN.clone();
    for spot in bytes.chunks_exact(5) {
        let [x, y, width, height] = [0, 1, 2, 3].map(|i| 2 * usize::from(spot[i]));
        for y in y..(y + height).min(picture.height()) {
            let right = (x + width).min(picture.width());
            picture.row_mut(y)[x.min(right)..right].fill([spot[4]; 3]);
        }
    }
    picture
}

libfuzzer_sys::fuzz_target!(init: forgive::forgive_decoders(), |bytes: &[u8]| {
    let Some((which, rest)) = bytes.split_first() else { return };
    let picture = match which % 3 {
        0 => {
            let said = parse_payload(rest).map(|(layout, number)| payload(layout, &number));
            return assert!(said.is_none_or(|said| said.as_bytes() == rest));
        }
        1 => grey(rest),
        _ => Some(spotted(rest)),
    };
    for card in picture.into_iter().flat_map(|picture| card::find(&Photo::of(picture, Primaries::Srgb)).cards) {
        assert!(card.px_per_mm().0.is_finite() && card.corners().as_flattened().iter().all(|v| v.is_finite()), "{card:?}");
    }
});
