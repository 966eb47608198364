//! Colour: transfer curve, primaries, chromatic adaptation, Oklab, the colour of lights. Reading order as listed;
//! sources stand beside each constant, figures and reasons in `docs/science.md`.

pub mod light;
pub mod matrix;
pub mod oklab;
pub mod transfer;

/// Linear-light colour, 0..1 where nothing clips; its primaries are stated where it is made.
pub type Linear = [f32; 3];

/// A 3 x 3 matrix, rows first, as the loops over pixels use it.
pub type Mat3 = [[f32; 3]; 3];

/// A colour in Oklab (Ottosson 2020): `l` 0..1, `a` and `b` about -0.4..0.4.
pub type OkLab = palette::Oklab<f32>;
