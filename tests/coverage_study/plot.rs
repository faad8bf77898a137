//! The coverage of every group as a picture.

use super::summary::Group;
use std::fmt::Write;

/// An SVG with one line a group: its coverage with Wilson's interval, against the band from 93 to 97 %.
pub fn svg(groups: &[Group]) -> String {
    const LINE: f64 = 18.0;
    const LEFT: f64 = 230.0;
    const WIDTH: f64 = 480.0;
    const LOWEST: f64 = 70.0;
    let x = |percent: f64| LEFT + WIDTH * (percent.max(LOWEST) - LOWEST) / (100.0 - LOWEST);
    let height = LINE * (groups.len() as f64 + 3.0);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.0}\" height=\"{height:.0}\" font-family=\"sans-serif\" font-size=\"12\">\n<rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n<rect x=\"{:.1}\" y=\"{LINE}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#dcebdc\"/>\n",
        LEFT + WIDTH + 200.0,
        x(93.0),
        x(97.0) - x(93.0),
        height - 2.5 * LINE
    );
    for percent in [70.0, 75.0, 80.0, 85.0, 90.0, 95.0, 100.0] {
        let _ = writeln!(
            out,
            "<line x1=\"{0:.1}\" x2=\"{0:.1}\" y1=\"{LINE}\" y2=\"{1:.1}\" stroke=\"#bbbbbb\"/><text x=\"{0:.1}\" y=\"{2:.1}\" text-anchor=\"middle\">{percent} %</text>",
            x(percent),
            height - 1.5 * LINE,
            height - 0.4 * LINE
        );
    }
    for (k, group) in groups.iter().enumerate() {
        let y = LINE * (k as f64 + 1.6);
        let [low, high] = group.wilson_percent();
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text><line x1=\"{:.1}\" x2=\"{:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\" stroke=\"#335577\" stroke-width=\"2\"/><circle cx=\"{:.1}\" cy=\"{y:.1}\" r=\"3.5\" fill=\"#335577\"/><text x=\"{:.1}\" y=\"{:.1}\">{:.1} %, n {}, rms {:.2}</text>",
            LEFT - 8.0,
            y + 4.0,
            group.name,
            x(low),
            x(high),
            x(group.coverage_percent()),
            LEFT + WIDTH + 12.0,
            y + 4.0,
            group.coverage_percent(),
            group.photos,
            group.rms_error_over_u
        );
    }
    out.push_str("</svg>\n");
    out
}
