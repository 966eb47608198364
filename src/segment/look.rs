//! One look of the outline network at a part of the photo.

use crate::base::raster::{Raster, Rect};
use crate::base::resample::{bilinear, shrink};
use crate::network::{Network, REACH, input_size};
use crate::segment::crowns::Crowns;

/// What the network says of a part of the photo, on grids of its own.
pub struct Look {
    /// Logit of plant: above 0, plant is more likely than not.
    pub plant: Raster<f32>,
    /// Crowns of plants.
    pub crowns: Crowns,
}

impl Look {
    /// At `rect`, shown with a longer side of about `long` pixels.
    pub fn at(picture: &Raster<[u8; 3]>, rect: Rect, long: usize) -> Self {
        Self::of(&shown(picture, rect, long))
    }

    /// The same through a mirror, turned back: a second opinion even where nothing else differs.
    pub fn mirrored(picture: &Raster<[u8; 3]>, rect: Rect, long: usize) -> Self {
        let Self { plant, crowns } = Self::of(&shown(picture, rect, long).mirrored());
        Self { plant: plant.mirrored(), crowns: crowns.mirrored() }
    }

    fn of(seen: &Raster<[u8; 3]>) -> Self {
        let planes = (0..3).flat_map(|k| seen.as_slice().iter().map(move |code| f32::from(code[k]) / 255.0)).collect();
        let mut answer = Network::Outline.run(planes, seen.width(), seen.height()).into_iter();
        let mut next = || answer.next().expect("the network answers with four fields (tested)");
        let (plant, heat, right, down) = (next(), next(), next(), next());
        let cells = REACH * heat.width() as f32 / seen.width() as f32;
        Self { plant, crowns: Crowns { heat, offset: [right, down].map(|field| field.map(|units| units * cells)) } }
    }

    /// The evidence for plant at `size` (width, height).
    pub fn plant_at(&self, size: (usize, usize)) -> Raster<f32> {
        bilinear(&self.plant, size.0, size.1)
    }
}

fn shown(picture: &Raster<[u8; 3]>, rect: Rect, long: usize) -> Raster<[u8; 3]> {
    let (width, height) = input_size(rect.width, rect.height, long);
    shrink(picture, rect, width, height)
}
