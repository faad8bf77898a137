//! The sheet as PDF, which printers and viewers print true to size more reliably than pictures.

use super::sheet::{Shape, Sheet, Tone};
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, Str, TextStr};

/// Points of PostScript and PDF in a mm: 72 to the inch of 25.4 mm.
const PT_PER_MM: f32 = 72.0 / 25.4;

/// The sheet as a PDF file of one page.
pub fn pdf_bytes(sheet: &Sheet) -> Vec<u8> {
    let [catalog, tree, page, content, font, info] = [1, 2, 3, 4, 5, 6].map(Ref::new);
    let [w, h] = sheet.paper.size_mm().map(|mm| mm as f32 * PT_PER_MM);
    let mut pdf = Pdf::new();
    let mut root = pdf.catalog(catalog);
    root.pages(tree);
    // Asks viewers to offer "actual size" when they print.
    root.viewer_preferences().pair(Name(b"PrintScaling"), Name(b"None"));
    root.finish();
    pdf.document_info(info).title(TextStr("Walewise calibration card")).creator(TextStr("Walewise"));
    pdf.pages(tree).kids([page]).count(1);
    let mut leaf = pdf.page(page);
    leaf.parent(tree).media_box(Rect::new(0.0, 0.0, w, h)).contents(content);
    leaf.resources().fonts().pair(Name(b"F"), font);
    leaf.finish();
    // One of the fonts every viewer has.
    pdf.type1_font(font).base_font(Name(b"Helvetica"));
    pdf.stream(content, &drawn(sheet, h));
    pdf.finish()
}

/// The shapes in the page's own coordinates: points, from the lower left corner upwards.
fn drawn(sheet: &Sheet, height_pt: f32) -> Vec<u8> {
    let mut page = Content::new();
    let place = |[x, y]: [f64; 2]| (x as f32 * PT_PER_MM, height_pt - y as f32 * PT_PER_MM);
    for shape in &sheet.shapes {
        match shape {
            Shape::Polygon { corners, tone } => {
                page.set_fill_gray(grey(*tone));
                for (k, corner) in corners.iter().enumerate() {
                    let (x, y) = place(*corner);
                    if k == 0 {
                        page.move_to(x, y)
                    } else {
                        page.line_to(x, y)
                    };
                }
                page.close_path().fill_nonzero();
            }
            Shape::Line { from, to, width_mm, tone } => {
                let ((ax, ay), (bx, by)) = (place(*from), place(*to));
                page.set_stroke_gray(grey(*tone)).set_line_width(*width_mm as f32 * PT_PER_MM);
                page.move_to(ax, ay).line_to(bx, by).stroke();
            }
            Shape::Text { at, size_mm, words } => {
                let (x, y) = place(*at);
                page.set_fill_gray(0.0).begin_text().set_font(Name(b"F"), *size_mm as f32 * PT_PER_MM);
                page.next_line(x, y).show(Str(words.as_bytes())).end_text();
            }
        }
    }
    page.finish().to_vec()
}

fn grey(tone: Tone) -> f32 {
    match tone {
        Tone::Black => 0.0,
        Tone::White => 1.0,
        Tone::Grey => 0.6,
    }
}
