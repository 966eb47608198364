//! One look of the outline network at a part of the photo.

use crate::base::bilinear::bilinear;
use crate::base::raster::{Raster, Rect};
use crate::base::resample::shrink;
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
        let (width, height) = input_size(rect.width, rect.height, long);
        Self::of(&shrink(picture, rect, width, height))
    }

    /// At a whole picture through a mirror, turned back: a second opinion even where nothing else differs. Shown at `size`
    /// (width, height).
    pub fn mirrored(picture: &Raster<[u8; 3]>, size: (usize, usize)) -> Self {
        let Self { plant, crowns } = Self::of(&shrink(picture, picture.bounds(), size.0, size.1).mirrored());
        Self { plant: plant.mirrored(), crowns: crowns.mirrored() }
    }

    fn of(seen: &Raster<[u8; 3]>) -> Self {
        let mut planes = Vec::with_capacity(3 * seen.as_slice().len());
        (0..3).for_each(|k| planes.extend(seen.as_slice().iter().map(|code| f32::from(code[k]) / 255.0)));
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
