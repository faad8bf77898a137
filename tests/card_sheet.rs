//! The printable card, read back from its files: true to size on both papers.

use walewise::card::{CHECK_LENGTH_MM, COLUMNS, Paper, ROWS, SIZE_MM, SQUARE_MM, Sheet, pdf_bytes, svg_string};

const PT_PER_MM: f64 = 72.0 / 25.4;

/// Corners of a filled polygon, in points.
type Polygon = Vec<[f64; 2]>;

/// Filled polygons and stroked lines of the page's content, in points.
fn pdf_shapes(pdf: &[u8]) -> (Vec<Polygon>, Vec<[[f64; 2]; 2]>) {
    let text = String::from_utf8_lossy(pdf);
    let content = text.split("stream\n").nth(1).and_then(|t| t.split("endstream").next()).expect("a content stream");
    let (mut fills, mut lines) = (Vec::new(), Vec::new());
    let (mut path, mut numbers) = (Vec::new(), Vec::new());
    for word in content.split_whitespace() {
        if let Ok(value) = word.parse::<f64>() {
            numbers.push(value);
            continue;
        }
        match (word, numbers.as_slice()) {
            ("m", [.., x, y]) => path = vec![[*x, *y]],
            ("l", [.., x, y]) => path.push([*x, *y]),
            ("f", _) => fills.push(std::mem::take(&mut path)),
            ("S", _) if path.len() == 2 => lines.push([path[0], path[1]]),
            _ => {}
        }
        numbers.clear();
    }
    (fills, lines)
}

fn length([a, b]: [[f64; 2]; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[test]
fn pdf_is_true_to_size() {
    // ISO 216 A4, and 8.5 in x 11 in, in points.
    for (paper, size) in [(Paper::A4, [595.2756, 841.8898]), (Paper::Letter, [612.0, 792.0])] {
        let pdf = pdf_bytes(&Sheet::of(paper));
        let text = String::from_utf8_lossy(&pdf);
        assert!(text.starts_with("%PDF-") && text.contains("/PrintScaling /None"));
        let media = text.split("/MediaBox [").nth(1).and_then(|t| t.split(']').next()).expect("a page");
        let media: Vec<f64> = media.split_whitespace().map(|n| n.parse().unwrap()).collect();
        assert!((media[2] - size[0]).abs() < 0.01 && (media[3] - size[1]).abs() < 0.01, "{media:?}");
        let (fills, lines) = pdf_shapes(&pdf);
        let squares: Vec<_> =
            fills.iter().filter(|f| (length([f[0], f[1]]) - SQUARE_MM * PT_PER_MM).abs() < 0.01).collect();
        assert_eq!(squares.len() as i32, (COLUMNS * ROWS + 1) / 2);
        let extent = |k: usize| {
            let all = squares.iter().flat_map(|s| s.iter().map(|p| p[k]));
            let (low, high) = all.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
            (high - low) / PT_PER_MM
        };
        assert!((extent(0) - 170.0).abs() < 0.01 && (extent(1) - 70.0).abs() < 0.01);
        // The check lengths, one each way.
        let long: Vec<_> = lines.iter().filter(|l| (length(**l) - 425.1969).abs() < 0.01).collect();
        assert_eq!(long.len(), 2, "150 mm are 425.197 pt");
        assert!(long.iter().any(|l| l[0][0] == l[1][0]) && long.iter().any(|l| l[0][1] == l[1][1]));
        assert!(fills.iter().flatten().chain(lines.iter().flatten()).all(|[x, y]| {
            // Within what printers reach: 5 mm from the paper's edge.
            (14.0..size[0] - 14.0).contains(x) && (14.0..size[1] - 14.0).contains(y)
        }));
    }
}

#[test]
fn svg_is_true_to_size() {
    for (paper, head) in [
        (Paper::A4, r#"height="297mm" viewBox="0 0 210 297" width="210mm""#),
        (Paper::Letter, r#"height="279.4mm" viewBox="0 0 215.9 279.4" width="215.9mm""#),
    ] {
        let text = svg_string(&Sheet::of(paper));
        assert!(text.contains(head), "{}", &text[..200]);
        let number = |tag: &str, name: &str| -> f64 {
            let value =
                tag.split(&format!(" {name}=\"")).nth(1).and_then(|t| t.split('"').next()).expect("an attribute");
            value.parse().expect("a number")
        };
        let lines = text.split("<line").skip(1).map(|t| t.split("/>").next().unwrap());
        let lengths = lines.map(|t| (number(t, "x1") - number(t, "x2")).hypot(number(t, "y1") - number(t, "y2")));
        assert_eq!(lengths.filter(|l| (l - CHECK_LENGTH_MM).abs() < 1e-3).count(), 2);
        let points = text.split("points=\"").skip(1).map(|t| t.split('"').next().unwrap());
        let xs: Vec<f64> = points
            .flat_map(|p| p.split([' ', ',']).step_by(2).map(|n| n.parse().unwrap()).collect::<Vec<f64>>())
            .collect();
        let (low, high) = xs.iter().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        assert!((high - low - SQUARE_MM * f64::from(COLUMNS)).abs() < 1e-6);
        assert!((SIZE_MM[0] - 180.0).abs() < 1e-9 && (SIZE_MM[1] - 80.0).abs() < 1e-9);
    }
}
