//! Where the labels of a drawing go, so that none lies on another, on a hole or off the sheet.

/// Width of one character over its height: that of the usual monospaced faces, 0.60 to 0.61.
const CHAR_WIDTH: f64 = 0.61;

/// A rectangle on the sheet, y downward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rect {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Rect {
    fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    fn within(&self, sheet: &Self) -> bool {
        self.left >= sheet.left
            && self.right <= sheet.right
            && self.top >= sheet.top
            && self.bottom <= sheet.bottom
    }

    /// Whether a circle's line passes through, or the circle lies inside.
    fn meets_ring(&self, circle: &Circle) -> bool {
        let nearest_x = circle.x.clamp(self.left, self.right) - circle.x;
        let nearest_y = circle.y.clamp(self.top, self.bottom) - circle.y;
        let farthest_x = (self.left - circle.x)
            .abs()
            .max((self.right - circle.x).abs());
        let farthest_y = (self.top - circle.y)
            .abs()
            .max((self.bottom - circle.y).abs());
        nearest_x.hypot(nearest_y) < circle.r && farthest_x.hypot(farthest_y) > circle.r
    }
}

/// A drawn circle, in sheet units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Circle {
    pub x: f64,
    pub y: f64,
    pub r: f64,
}

/// What is to be written beside a circle, longest form first.
pub(super) struct Wanted {
    pub beside: Circle,
    pub forms: Vec<String>,
}

/// A label that found its place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Label {
    pub text: String,
    pub area: Rect,
    /// From the circle to the label, where it stands away from it.
    pub leader: Option<[(f64, f64); 2]>,
}

/// Finds each label a free place in the order given; `None` where even its shortest form has none.
///
/// Close to the circle every form is tried, longest first, in eight directions (or inside a wide circle), then the same
/// at each farther ring: a short label nearby reads better than a long one far off. The first sheet is tried before the
/// second, wider one. It is greedy: simple, the same every time, and enough for the few dozen holes of a face.
pub(super) fn place(
    sheets: [Rect; 2],
    circles: &[Circle],
    wanted: &[Wanted],
    height: f64,
) -> Vec<Option<Label>> {
    let mut taken: Vec<Rect> = Vec::new();
    wanted
        .iter()
        .map(|one| {
            let label = sheets.iter().find_map(|sheet| {
                [0.3, 0.8, 1.4, 2.2, 3.4, 5.0, 7.0].iter().find_map(|away| {
                    one.forms.iter().find_map(|form| {
                        spots(&one.beside, form, height, away * height)
                            .find(|label| is_free(label, sheet, circles, &taken))
                    })
                })
            })?;
            taken.push(label.area);
            Some(label)
        })
        .collect()
}

fn is_free(label: &Label, sheet: &Rect, circles: &[Circle], taken: &[Rect]) -> bool {
    label.area.within(sheet)
        && !taken.iter().any(|other| other.overlaps(&label.area))
        && !circles.iter().any(|circle| label.area.meets_ring(circle))
}

/// A direction from a circle, and which part of the label's width and height lies before the point it leads to.
struct Way {
    dx: f64,
    dy: f64,
    left: f64,
    up: f64,
}

const fn way(dx: f64, dy: f64, left: f64, up: f64) -> Way {
    Way { dx, dy, left, up }
}

const WAYS: [Way; 8] = [
    way(1.0, 0.0, 0.0, 0.5),
    way(-1.0, 0.0, 1.0, 0.5),
    way(0.0, -1.0, 0.5, 1.0),
    way(0.0, 1.0, 0.5, 0.0),
    way(0.7, -0.7, 0.0, 1.0),
    way(0.7, 0.7, 0.0, 0.0),
    way(-0.7, -0.7, 1.0, 1.0),
    way(-0.7, 0.7, 1.0, 0.0),
];

/// Every spot for a text at one distance from its circle.
#[expect(clippy::cast_precision_loss, reason = "labels are short")]
fn spots(circle: &Circle, text: &str, height: f64, away: f64) -> impl Iterator<Item = Label> {
    let width = text.chars().count() as f64 * height * CHAR_WIDTH;
    let label_at = move |left: f64, top: f64, leader| Label {
        text: text.to_owned(),
        area: Rect {
            left,
            top,
            right: left + width,
            bottom: top + height,
        },
        leader,
    };
    let Circle { x, y, r } = *circle;
    // A wide circle has room inside, above or below its middle.
    let inside = [-height - away, away]
        .map(|up| label_at(x - width / 2.0, y + up, None))
        .into_iter()
        .filter(move |_| r > 1.5 * height);
    let beside = WAYS.iter().map(move |way| {
        let from = (x + way.dx * r, y + way.dy * r);
        let to = (from.0 + way.dx * away, from.1 + way.dy * away);
        let leader = (away > height / 2.0).then_some([from, to]);
        label_at(to.0 - width * way.left, to.1 - height * way.up, leader)
    });
    inside.chain(beside)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SHEET: Rect = Rect {
        left: 0.0,
        top: 0.0,
        right: 360.0,
        bottom: 240.0,
    };

    fn circle(x: f64, y: f64) -> Circle {
        Circle { x, y, r: 4.0 }
    }

    #[test]
    fn a_crowded_corner_gets_leaders_or_shorter_labels_before_it_goes_without() {
        let circles: Vec<Circle> = (0..6)
            .map(|i| circle(10.0 + 9.0 * f64::from(i), 10.0))
            .collect();
        let wanted: Vec<Wanted> = circles
            .iter()
            .map(|c| Wanted {
                beside: *c,
                forms: vec!["R12 M10×1.5".to_owned(), "R12".to_owned()],
            })
            .collect();
        let labels = place([SHEET; 2], &circles, &wanted, 10.0);
        assert!(labels.iter().all(Option::is_some), "{labels:?}");
        assert!(labels.iter().flatten().any(|label| label.leader.is_some()));
    }

    #[test]
    fn near_and_short_beats_long_and_far() {
        // A hole between two walls of holes: the long form only fits far off.
        let mut circles = vec![circle(180.0, 120.0)];
        for i in 0..12 {
            let y = 60.0 + 10.0 * f64::from(i);
            circles.extend([circle(150.0, y), circle(210.0, y)]);
        }
        let wanted = [Wanted {
            beside: circles[0],
            forms: vec!["make R12 M10x1.5".to_owned(), "R12".to_owned()],
        }];
        let label = place([SHEET; 2], &circles, &wanted, 10.0)
            .remove(0)
            .unwrap();
        assert_eq!((label.text.as_str(), label.leader), ("R12", None));
    }

    #[test]
    fn a_label_may_stand_inside_a_large_bore() {
        let bore = Circle {
            x: 180.0,
            y: 120.0,
            r: 100.0,
        };
        let inside = Rect {
            left: 150.0,
            top: 110.0,
            right: 210.0,
            bottom: 120.0,
        };
        assert!(!inside.meets_ring(&bore));
    }

    proptest! {
        #[test]
        fn no_label_lies_on_another_or_off_the_sheet(
            spots in proptest::collection::vec((5.0..355.0, 5.0..235.0, 2.0..60.0), 1..40)
        ) {
            let circles: Vec<Circle> = spots.iter().map(|&(x, y, r)| Circle { x, y, r }).collect();
            let wanted: Vec<Wanted> = circles
                .iter()
                .map(|c| Wanted { beside: *c, forms: vec!["R12 M10×1.5".to_owned(), "R12".to_owned()] })
                .collect();
            let placed: Vec<Label> = place([SHEET; 2], &circles, &wanted, 10.0).into_iter().flatten().collect();
            for (i, one) in placed.iter().enumerate() {
                prop_assert!(one.area.within(&SHEET));
                prop_assert!(!circles.iter().any(|c| one.area.meets_ring(c)));
                for other in &placed[i + 1..] {
                    prop_assert!(!one.area.overlaps(&other.area));
                }
            }
        }
    }
}
