//! An invented document that uses every kind of mark. It means nothing.

use axiswright::page::{Created, Document, Ink, Meta, Page, Paint, SignatureField, Stroke, Style, geometry};

/// The warning a page that is not live carries.
pub(crate) const WARNING: &str = "TEST - NOT FOR PATIENT CARE";

/// The payload of the sample's code; the alphabet of the QR alphanumeric mode.
pub(crate) const PAYLOAD: &str = "AXWT1:DEMO:7F3K2:1:R:ABCDEFGHIJKLMNOPQRSTUVWXYZ:20261125";

/// The header of every test document.
pub(crate) fn meta() -> Meta {
    Meta {
        title: "Sample (pages) & marks <1>".to_owned(),
        subject: "Every kind of mark".to_owned(),
        author: "Clinic of the Invented Æther".to_owned(),
        language: "en-GB".to_owned(),
        created: Created { year: 2026, month: 11, day: 25, hour: 8, minute: 30, second: 5 },
        id_seed: b"sample-1".to_vec(),
    }
}

/// One short page: the document whose digest is frozen.
pub(crate) fn small() -> Document {
    let mut page = Page::a4();
    page.text(20.0, 30.0, Style::bold(16.0), "RIGHT EYE (OD)");
    page.tagged(20.0, 40.0, Style::regular(12.0), "axis 098°, cylinder +2.25 D", "lens.axis");
    page.tagged(190.0, 40.0, Style::regular(12.0).right(), "6.66 8.88 −0.50 Жук Ώρα", "numbers");
    page.circle((100.0, 120.0), 40.0, Paint::outline(Stroke::dashed(0.3, 2.0, 1.0)));
    Document { meta: meta(), pages: vec![page], fields: Vec::new() }
}

/// Three pages with diagrams, codes, names in three scripts, a diagonal warning and two signature fields.
pub(crate) fn full() -> Document {
    let pages = vec![theatre(), marks(), record()];
    let fields =
        vec![field("Seal", 0, "NOT SEALED", 255.0, false), field("Approval", 0, "NOT APPROVED", 272.0, true)];
    Document { meta: meta(), pages, fields }
}

fn field(name: &str, page: usize, words: &str, y: f64, locks_all: bool) -> SignatureField {
    let (width, height) = (60.0, 14.0);
    let mut placeholder = Page::sized(width, height);
    placeholder.rectangle(
        (0.25, 0.25),
        width - 0.5,
        height - 0.5,
        Paint::outline(Stroke::dashed(0.4, 1.5, 1.0)),
    );
    placeholder.text(width / 2.0, 8.5, Style::bold(12.0).centred(), words);
    let tooltip = format!("{name} of this page");
    SignatureField { name: name.to_owned(), page, at: (130.0, y).into(), tooltip, locks_all, placeholder }
}

fn warn(page: &mut Page) {
    let pale = Ink::grey(0.8).expect("a grey between black and white");
    page.turned_text(105.0, 165.0, 45.0, Style::bold(34.0).centred().inked(pale), WARNING);
}

fn diagram(page: &mut Page, x: f64, y: f64, radius: f64) {
    let centre = (x, y);
    page.circle(centre, radius, Paint::outline(Stroke::solid(0.5)));
    for deg in (0..360).step_by(10) {
        let deg = f64::from(deg);
        let inner = geometry::polar(centre.into(), radius, deg);
        let outer = geometry::polar(centre.into(), radius + 2.5, deg);
        page.line(inner, outer, Stroke::solid(0.2));
    }
    for deg in (0..360).step_by(30) {
        let at = geometry::polar(centre.into(), radius + 6.0, f64::from(deg));
        page.text(at.x, at.y + 1.2, Style::regular(9.0).centred(), format!("{deg}"));
    }
    let from = geometry::polar(centre.into(), radius, 98.0);
    let to = geometry::polar(centre.into(), radius, 278.0);
    page.line(from, to, Stroke::solid(1.2).round());
    page.arc_arrow(centre, radius * 0.6, 0.0, 98.0, Stroke::solid(0.4), 3.0);
    page.arc_arrow(centre, radius * 0.75, 180.0, -82.0, Stroke::solid(0.4), 3.0);
    page.arc(centre, radius - 1.5, 160.0, 40.0, Stroke::solid(1.5));
}

fn theatre() -> Page {
    let mut page = Page::a4();
    warn(&mut page);
    page.rectangle((15.0, 12.0), 180.0, 14.0, Paint::fill(Ink::BLACK));
    page.tagged(105.0, 21.5, Style::bold(22.0).centred().inked(Ink::WHITE), "RIGHT EYE (OD)", "eye");
    page.tagged(15.0, 36.0, Style::bold(14.0), "Ξανθή Παπαδοπούλου-Ώριον", "name.greek");
    page.tagged(15.0, 44.0, Style::bold(14.0), "Жанна Ёлкина, Łucja Çelik, Nguyễn Ngọc Ánh", "name.other");
    diagram(&mut page, 80.0, 120.0, 45.0);
    page.tagged(15.0, 200.0, Style::bold(18.0), "axis 098°   SE +21.50 D   cylinder 2.25 D", "lens");
    page.rounded((130.0, 60.0), 65.0, 30.0, 3.0, Paint::both(Ink::WHITE, Stroke::solid(0.4)));
    page.text(133.0, 68.0, Style::regular(10.0), "± 0.25 × 1′ 2″ – — … · • µm № −0.50");
    page.check_mark((133.0, 72.0), 6.0, Stroke::solid(0.8));
    page.arrow((145.0, 75.0), (175.0, 75.0), Stroke::solid(0.5), 3.0);
    page.polygon([(180.0, 72.0), (186.0, 84.0), (174.0, 84.0)], Paint::outline(Stroke::solid(0.5)));
    page.qr((130.0, 205.0), 30.0, PAYLOAD);
    page.line((15.0, 280.0), (65.0, 280.0), Stroke::solid(0.3));
    page.text(40.0, 285.0, Style::regular(8.0).centred(), "50 mm");
    page
}

fn marks() -> Page {
    let mut page = Page::a4();
    warn(&mut page);
    page.text(105.0, 20.0, Style::bold(16.0).centred(), "SEEN FROM THE FRONT, PATIENT SITTING");
    diagram(&mut page, 105.0, 110.0, 60.0);
    let path = (0..60)
        .map(|i| (20.0 + f64::from(i) * 2.8, 220.0 + 12.0 * geometry::sin_cos_deg(f64::from(i) * 12.0).0));
    page.polyline(path, Stroke::dashed(0.4, 1.0, 1.0).round());
    page
}

fn record() -> Page {
    let mut page = Page::a4();
    warn(&mut page);
    for row in 0..45_u8 {
        let y = 20.0 + f64::from(row) * 5.5;
        for column in 0..5_u8 {
            let value = f64::from(row) * 0.37 + f64::from(column) * 11.03;
            let x = 20.0 + f64::from(column) * 35.0;
            page.tagged(x, y, Style::regular(9.0), format!("{value:.2} D"), format!("cell.{row}.{column}"));
        }
        page.line((20.0, y + 1.5), (190.0, y + 1.5), Stroke::solid(0.1));
    }
    page
}
