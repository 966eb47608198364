//! What a page shows: filled outlines in millimetres from its top left corner, x right, y down.

use crate::card::layout::Area;

/// A point, mm.
pub type Point = [f64; 2];

/// A step of an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Begins an outline.
    Move(Point),
    /// A straight line.
    Line(Point),
    /// A cubic Bezier curve: two control points and the end.
    Curve([Point; 3]),
    /// Back to where the outline began.
    Close,
}

/// Outlines filled with one grey; where they overlap, turning the same way, they stay filled (the nonzero rule).
#[derive(Debug, Clone, PartialEq)]
pub struct Shape {
    /// The outlines.
    pub steps: Vec<Step>,
    /// Level of the sRGB curve, 0 black to 1 bare paper.
    pub grey: f64,
}

/// Shapes that belong together.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Group {
    /// What they show, for viewers that tell it.
    pub title: Option<String>,
    /// Drawn in this order.
    pub shapes: Vec<Shape>,
}

/// One printed page.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// Width, mm.
    pub width: f64,
    /// Height, mm.
    pub height: f64,
    /// Drawn in this order.
    pub groups: Vec<Group>,
}

impl Step {
    /// The step with each of its points moved by `change`.
    pub(super) fn mapped(self, change: impl Fn(Point) -> Point) -> Self {
        match self {
            Self::Move(to) => Self::Move(change(to)),
            Self::Line(to) => Self::Line(change(to)),
            Self::Curve(points) => Self::Curve(points.map(change)),
            Self::Close => Self::Close,
        }
    }
}

impl Shape {
    /// Black outlines.
    pub fn black(steps: Vec<Step>) -> Self {
        Self { steps, grey: 0.0 }
    }

    /// Black rectangles.
    pub fn boxes(areas: impl IntoIterator<Item = Area>) -> Self {
        Self::black(areas.into_iter().flat_map(outline).collect())
    }

    /// The shape, moved.
    #[must_use]
    pub fn moved(self, [dx, dy]: Point) -> Self {
        self.mapped(|[x, y]| [x + dx, y + dy])
    }

    /// The shape, turned a quarter to the left about the page's corner: what ran to the right runs up.
    #[must_use]
    pub fn turned(self) -> Self {
        self.mapped(|[x, y]| [y, -x])
    }

    fn mapped(self, change: impl Fn(Point) -> Point) -> Self {
        Self { steps: self.steps.into_iter().map(|step| step.mapped(&change)).collect(), grey: self.grey }
    }
}

impl Group {
    /// The group, moved.
    #[must_use]
    pub fn moved(self, by: Point) -> Self {
        Self { title: self.title, shapes: self.shapes.into_iter().map(|shape| shape.moved(by)).collect() }
    }
}

/// A straight line with ends cut square, along x or y; `width` in mm.
pub(super) fn line(a: Point, b: Point, width: f64) -> Area {
    let [length, height] = [0, 1].map(|axis| (b[axis] - a[axis]).abs());
    let [x, y] = [0, 1].map(|axis| a[axis].min(b[axis]));
    if length > height {
        Area { x, y: y - width / 2.0, width: length, height: width }
    } else {
        Area { x: x - width / 2.0, y, width, height }
    }
}

/// The outline of a rectangle.
fn outline(area: Area) -> [Step; 5] {
    let [a, b, c, d] = area.corners();
    [Step::Move(a), Step::Line(b), Step::Line(c), Step::Line(d), Step::Close]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_has_its_width_to_both_sides() {
        assert_eq!(line([1.0, 5.0], [4.0, 5.0], 0.5), Area { x: 1.0, y: 4.75, width: 3.0, height: 0.5 });
        assert_eq!(line([1.0, 5.0], [1.0, 2.0], 0.5), Area { x: 0.75, y: 2.0, width: 0.5, height: 3.0 });
    }

    #[test]
    fn a_turned_shape_runs_up() {
        let shape = Shape::black(vec![Step::Move([0.0, 0.0]), Step::Line([3.0, 1.0])]).turned().moved([10.0, 10.0]);
        assert_eq!(shape.steps, [Step::Move([10.0, 10.0]), Step::Line([11.0, 7.0])]);
    }
}
