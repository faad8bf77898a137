//! The sheet to be printed: the card, the lengths to check, and the words, as shapes on paper.

use super::{CHECK_LENGTH_MM, COLUMNS, DIAMOND, RIM_MM, ROWS, SIZE_MM, SQUARE_MM, has_diamond, is_dark};

/// Paper to print on, upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// 210 mm × 297 mm (ISO 216).
    A4,
    /// 8.5 in × 11 in = 215.9 mm × 279.4 mm (ANSI/ASME Y14.1, from memory).
    Letter,
}

impl Paper {
    /// Width and height, in mm.
    pub fn size_mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }
}

/// How dark a shape is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Black.
    Black,
    /// The paper's own white.
    White,
    /// Grey: where to cut.
    Grey,
}

/// One thing to print. Lengths in mm from the paper's upper left corner.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A filled polygon.
    Polygon {
        /// Its corners.
        corners: Vec<[f64; 2]>,
        /// Its tone.
        tone: Tone,
    },
    /// A straight stroke.
    Line {
        /// One end.
        from: [f64; 2],
        /// The other end.
        to: [f64; 2],
        /// Width of the stroke.
        width_mm: f64,
        /// Its tone.
        tone: Tone,
    },
    /// A line of text, in ASCII.
    Text {
        /// Left end of its base line.
        at: [f64; 2],
        /// Height of the type.
        size_mm: f64,
        /// The words.
        words: String,
    },
}

/// A whole sheet of paper.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// The paper.
    pub paper: Paper,
    /// What is printed on it, in order.
    pub shapes: Vec<Shape>,
}

/// From the paper's upper edge to the card: printers leave some 5 mm free, scissors need some more.
const TOP_MM: f64 = 14.0;

/// From the card to the level length that is to be checked.
const CHECK_GAP_MM: f64 = 16.0;

/// From the level length down to the upright one.
const UPRIGHT_GAP_MM: f64 = 10.0;

/// Width of the strokes that are measured against a ruler.
const STROKE_MM: f64 = 0.25;

impl Sheet {
    /// The sheet for a paper: the card in the upper part, one check length each way below it.
    pub fn of(paper: Paper) -> Self {
        let mut sheet = Self { paper, shapes: Vec::new() };
        let card = sheet.card_corner_mm();
        sheet.card(card);
        let level = [card[0] + (SIZE_MM[0] - CHECK_LENGTH_MM) / 2.0, card[1] + SIZE_MM[1] + CHECK_GAP_MM];
        sheet.check_length(level, false);
        let upright = [card[0] + 8.0, level[1] + UPRIGHT_GAP_MM];
        sheet.check_length(upright, true);
        sheet.words([card[0] + 32.0, upright[1] + 8.0]);
        sheet
    }

    /// The card's upper left corner on the paper, in mm.
    pub fn card_corner_mm(&self) -> [f64; 2] {
        [(self.paper.size_mm()[0] - SIZE_MM[0]) / 2.0, TOP_MM]
    }

    fn card(&mut self, [left, top]: [f64; 2]) {
        let corner = |u: f64, v: f64| [left + RIM_MM + u * SQUARE_MM, top + RIM_MM + v * SQUARE_MM];
        for row in 0..ROWS {
            for column in 0..COLUMNS {
                let (u, v) = (f64::from(column), f64::from(row));
                let dark = is_dark(column, row);
                if dark {
                    let corners = vec![corner(u, v), corner(u + 1.0, v), corner(u + 1.0, v + 1.0), corner(u, v + 1.0)];
                    self.shapes.push(Shape::Polygon { corners, tone: Tone::Black });
                }
                if has_diamond(column, row) == Some(true) {
                    let (u, v) = (u + 0.5, v + 0.5);
                    let corners = vec![
                        corner(u - DIAMOND, v),
                        corner(u, v - DIAMOND),
                        corner(u + DIAMOND, v),
                        corner(u, v + DIAMOND),
                    ];
                    self.shapes.push(Shape::Polygon { corners, tone: if dark { Tone::White } else { Tone::Black } });
                }
            }
        }
        let [w, h] = SIZE_MM;
        let rim = [[left, top], [left + w, top], [left + w, top + h], [left, top + h]];
        for k in 0..4 {
            self.line(rim[k], rim[(k + 1) % 4], 0.15, Tone::Grey);
        }
    }

    /// A length to be measured with a ruler: a base line with centimetres on one side, inches on the other, and a long
    /// stroke at each end.
    fn check_length(&mut self, [x, y]: [f64; 2], upright: bool) {
        let place = |along: f64, across: f64| if upright { [x + across, y + along] } else { [x + along, y + across] };
        self.line(place(0.0, 0.0), place(CHECK_LENGTH_MM, 0.0), STROKE_MM, Tone::Black);
        for end in [0.0, CHECK_LENGTH_MM] {
            self.line(place(end, -6.0), place(end, 6.0), STROKE_MM, Tone::Black);
        }
        for cm in 1..(CHECK_LENGTH_MM / 10.0).round() as u32 {
            self.line(place(10.0 * f64::from(cm), -2.5), place(10.0 * f64::from(cm), 0.0), STROKE_MM, Tone::Black);
        }
        for inch in 1..=(CHECK_LENGTH_MM / 25.4) as u32 {
            self.line(place(25.4 * f64::from(inch), 0.0), place(25.4 * f64::from(inch), 3.5), STROKE_MM, Tone::Black);
        }
        let (cm, inch) =
            if upright { ([x - 8.0, y - 1.5], [x + 1.5, y - 1.5]) } else { ([x - 8.0, y - 1.5], [x - 8.0, y + 4.5]) };
        self.text(cm, 2.8, "cm");
        self.text(inch, 2.8, "inch");
    }

    fn words(&mut self, [x, mut y]: [f64; 2]) {
        let length = CHECK_LENGTH_MM;
        let lines = [
            (6.0, "Walewise calibration card".to_owned()),
            (
                3.6,
                "Print at 100 % (\"actual size\"), not \"fit to page\". Printers still change the size a little."
                    .to_owned(),
            ),
            (3.6, String::new()),
            (3.6, "1. Measure with a good ruler, before you cut: from the first to the last long stroke,".to_owned()),
            (
                3.6,
                format!(
                    "    along both lines. Both should be {length:.0} mm. Note what your ruler says, to half a mm."
                ),
            ),
            (3.6, "    If the two differ by more than 1 mm, print again or on another printer.".to_owned()),
            (3.6, "2. Cut the card out along the grey line. Glue it on stiff card if you can.".to_owned()),
            (
                3.6,
                "3. Lay it flat on the table beside the swatch, not on it, and photograph both from above.".to_owned(),
            ),
            (3.6, "4. Say the length you measured (the mean of the two, here called MM):".to_owned()),
            (3.6, String::new()),
            (4.2, "    walewise measure PHOTO --card --card-length MM".to_owned()),
            (3.6, String::new()),
            (3.6, "    My length:  ____________ mm      Printed on:  ____________".to_owned()),
            (3.6, String::new()),
            (3.6, "For the lens: a few photos of the card alone, filling the picture, from several sides:".to_owned()),
            (3.6, String::new()),
            (4.2, "    walewise lens PHOTO... -o lens.json".to_owned()),
        ];
        for (size_mm, words) in lines {
            if !words.is_empty() {
                self.text([x, y], size_mm, &words);
            }
            y += 1.7 * size_mm;
        }
    }

    fn line(&mut self, from: [f64; 2], to: [f64; 2], width_mm: f64, tone: Tone) {
        self.shapes.push(Shape::Line { from, to, width_mm, tone });
    }

    fn text(&mut self, at: [f64; 2], size_mm: f64, words: &str) {
        self.shapes.push(Shape::Text { at, size_mm, words: words.to_owned() });
    }
}
