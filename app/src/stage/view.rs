//! Where the picture lies on the screen: scale and shift, and how pan, zoom and pinch change them.
//!
//! Pixel centres are at integers, so a picture of `columns` pixels reaches from −½ to `columns` − ½.

/// A place in the picture's pixels, or on the screen in CSS pixels from the pane's top left corner.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spot {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
}

impl Spot {
    /// The place (x, y).
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// The straight distance to `other`.
    #[must_use]
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }

    fn midway(self, other: Self) -> Self {
        Self::new((self.x + other.x) / 2.0, (self.y + other.y) / 2.0)
    }
}

/// A width and height: of a picture in pixels, or of a pane in CSS pixels.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Extent {
    /// Across.
    pub width: f64,
    /// Down.
    pub height: f64,
}

impl Extent {
    /// The extent of a picture of this `(rows, columns)`.
    #[must_use]
    pub fn of_shape((rows, columns): (usize, usize)) -> Self {
        Self { width: columns as f64, height: rows as f64 }
    }

    fn is_empty(self) -> bool {
        !(self.width > 0.0 && self.height > 0.0)
    }
}

/// The largest enlargement, CSS pixels per picture pixel.
const CLOSEST: f64 = 64.0;
/// The smallest one, as a fraction of the fitting scale.
const FURTHEST_OF_FIT: f64 = 0.5;
/// Free border around a fitted picture, CSS pixels.
const MARGIN: f64 = 8.0;

/// Screen place = `scale` · (pixel + ½) + (`left`, `top`).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// CSS pixels per picture pixel.
    pub scale: f64,
    /// The picture's left edge, CSS pixels.
    pub left: f64,
    /// The picture's top edge, CSS pixels.
    pub top: f64,
}

impl Default for View {
    fn default() -> Self {
        Self { scale: 1.0, left: 0.0, top: 0.0 }
    }
}

impl View {
    /// The whole picture, as large as the pane allows, in its middle.
    #[must_use]
    pub fn fit(picture: Extent, pane: Extent) -> Self {
        if picture.is_empty() || pane.is_empty() {
            return Self::default();
        }
        let across = (pane.width - 2.0 * MARGIN).max(1.0) / picture.width;
        let down = (pane.height - 2.0 * MARGIN).max(1.0) / picture.height;
        let scale = across.min(down);
        Self {
            scale,
            left: (pane.width - scale * picture.width) / 2.0,
            top: (pane.height - scale * picture.height) / 2.0,
        }
    }

    /// Where a place of the picture is on the screen.
    #[must_use]
    pub fn to_screen(self, place: Spot) -> Spot {
        Spot::new(self.scale * (place.x + 0.5) + self.left, self.scale * (place.y + 0.5) + self.top)
    }

    /// Which place of the picture is at a place of the screen.
    #[must_use]
    pub fn to_picture(self, screen: Spot) -> Spot {
        Spot::new((screen.x - self.left) / self.scale - 0.5, (screen.y - self.top) / self.scale - 0.5)
    }

    /// Enlarged by `factor` with the place under `screen` kept there.
    #[must_use]
    pub fn zoomed(self, factor: f64, screen: Spot, picture: Extent, pane: Extent) -> Self {
        let furthest = Self::fit(picture, pane).scale * FURTHEST_OF_FIT;
        let scale = (self.scale * factor).clamp(furthest.min(CLOSEST), CLOSEST);
        let factor = scale / self.scale;
        Self {
            scale,
            left: screen.x - factor * (screen.x - self.left),
            top: screen.y - factor * (screen.y - self.top),
        }
        .kept_in_sight(picture, pane)
    }

    /// Shifted by CSS pixels.
    #[must_use]
    pub fn panned(self, across: f64, down: f64, picture: Extent, pane: Extent) -> Self {
        Self { left: self.left + across, top: self.top + down, ..self }.kept_in_sight(picture, pane)
    }

    /// Two fingers moved from `before` to `after`: what was between them stays between them.
    #[must_use]
    pub fn pinched(self, before: [Spot; 2], after: [Spot; 2], picture: Extent, pane: Extent) -> Self {
        let (from, to) = (before[0].midway(before[1]), after[0].midway(after[1]));
        let spread = before[0].distance(before[1]).max(1.0);
        self.panned(to.x - from.x, to.y - from.y, picture, pane).zoomed(
            after[0].distance(after[1]).max(1.0) / spread,
            to,
            picture,
            pane,
        )
    }

    /// With `place` in the middle of the pane, at least `scale` large.
    #[must_use]
    pub fn centred_on(self, place: Spot, scale: f64, picture: Extent, pane: Extent) -> Self {
        let scale = self.scale.max(scale).min(CLOSEST);
        Self {
            scale,
            left: pane.width / 2.0 - scale * (place.x + 0.5),
            top: pane.height / 2.0 - scale * (place.y + 0.5),
        }
        .kept_in_sight(picture, pane)
    }

    /// A picture may leave the pane by no more than leaves a quarter of the pane covered.
    fn kept_in_sight(self, picture: Extent, pane: Extent) -> Self {
        if picture.is_empty() || pane.is_empty() {
            return self;
        }
        let keep = |near: f64, length: f64, pane: f64| {
            let inside = (pane / 4.0).min(length);
            near.clamp(inside - length, pane - inside)
        };
        Self {
            left: keep(self.left, self.scale * picture.width, pane.width),
            top: keep(self.top, self.scale * picture.height, pane.height),
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PICTURE: Extent = Extent { width: 320.0, height: 240.0 };
    const PANE: Extent = Extent { width: 800.0, height: 500.0 };

    fn close(a: Spot, b: Spot) -> bool {
        a.distance(b) < 1e-9
    }

    #[test]
    fn a_fitted_picture_lies_inside_its_pane_and_in_the_middle() {
        let view = View::fit(PICTURE, PANE);
        let corner = view.to_screen(Spot::new(-0.5, -0.5));
        let opposite = view.to_screen(Spot::new(319.5, 239.5));
        assert!(corner.x >= MARGIN - 1e-9 && corner.y >= MARGIN - 1e-9);
        assert!(opposite.x <= PANE.width - MARGIN + 1e-9 && opposite.y <= PANE.height - MARGIN + 1e-9);
        assert!(close(corner.midway(opposite), Spot::new(400.0, 250.0)));
    }

    #[test]
    fn screen_and_picture_places_undo_each_other() {
        let view = View { scale: 3.7, left: -41.0, top: 12.5 };
        let place = Spot::new(17.25, 93.0);
        assert!(close(view.to_picture(view.to_screen(place)), place));
    }

    #[test]
    fn zooming_keeps_the_place_under_the_pointer() {
        let view = View::fit(PICTURE, PANE);
        let pointer = Spot::new(300.0, 200.0);
        let closer = view.zoomed(1.5, pointer, PICTURE, PANE);
        assert!(close(view.to_picture(pointer), closer.to_picture(pointer)));
        assert!((closer.scale / view.scale - 1.5).abs() < 1e-12);
    }

    #[test]
    fn a_pinch_keeps_what_is_between_the_fingers() {
        let view = View::fit(PICTURE, PANE);
        let before = [Spot::new(300.0, 200.0), Spot::new(400.0, 200.0)];
        let after = [Spot::new(290.0, 230.0), Spot::new(450.0, 230.0)];
        let pinched = view.pinched(before, after, PICTURE, PANE);
        let between = view.to_picture(Spot::new(350.0, 200.0));
        assert!(close(pinched.to_picture(Spot::new(370.0, 230.0)), between));
    }

    #[test]
    fn the_picture_cannot_be_lost_by_panning_or_zooming() {
        let view = View::fit(PICTURE, PANE).panned(1e6, -1e6, PICTURE, PANE);
        let (corner, opposite) =
            (view.to_screen(Spot::new(-0.5, -0.5)), view.to_screen(Spot::new(319.5, 239.5)));
        assert!(corner.x < PANE.width && opposite.y > 0.0);
        let far = View::fit(PICTURE, PANE).zoomed(1e-9, Spot::default(), PICTURE, PANE);
        assert!(far.scale * PICTURE.width > PANE.width / 8.0);
    }
}
