//! An invented clinic's keys and a small PDF of the form this program writes.

use axiswright::seal::{
    Appearance, Authority, AuthorityRequest, Certificate, Credential, Kind, LeafRequest, Report, Request,
    SealError, SigningKey, UtcTime, sign, verify,
};

pub(crate) fn at(day: u8) -> UtcTime {
    UtcTime::new(2026, 11, day, 8, 30, 0).unwrap()
}

pub(crate) fn key(seed: u8) -> SigningKey {
    SigningKey::from_entropy(&[seed; 32]).unwrap()
}

/// A site's authority with the bridge's and the surgeon's credential.
pub(crate) struct Site {
    pub(crate) authority: Authority,
    pub(crate) bridge: Credential,
    pub(crate) surgeon: Credential,
}

impl Site {
    pub(crate) fn new(name: &str, test: bool, seed: u8) -> Self {
        let (from, to) =
            (UtcTime::new(2026, 1, 1, 0, 0, 0).unwrap(), UtcTime::new(2051, 1, 1, 0, 0, 0).unwrap());
        let request = AuthorityRequest {
            site: name,
            test,
            not_before: from,
            not_after: to,
            serial_entropy: [seed; 16],
        };
        let authority = Authority::create(key(seed), &request).unwrap();
        let leaf = |person, seed: u8| {
            let request = LeafRequest {
                person,
                not_before: from,
                not_after: UtcTime::new(2031, 1, 1, 0, 0, 0).unwrap(),
                serial_entropy: [seed; 16],
            };
            let certificate = authority.issue(&key(seed).public_key(), &request).unwrap();
            Credential::new(key(seed), certificate, authority.certificate().clone()).unwrap()
        };
        let bridge = leaf(None, seed + 1);
        let surgeon = leaf(Some("Dr Ilse Anvärd"), seed + 2);
        Self { authority, bridge, surgeon }
    }

    pub(crate) fn live() -> Self {
        Self::new("Hillside Eye Clinic", false, 1)
    }

    pub(crate) fn other() -> Self {
        Self::new("Hillside Eye Clinic", false, 101)
    }

    pub(crate) fn trusted(&self) -> [Certificate; 1] {
        [self.authority.certificate().clone()]
    }

    pub(crate) fn sealed(&self, pdf: &[u8]) -> Vec<u8> {
        sign(pdf, &seal_request(), &self.bridge).unwrap()
    }

    pub(crate) fn approved(&self, sealed: &[u8]) -> Vec<u8> {
        sign(sealed, &approval_request(), &self.surgeon).unwrap()
    }

    pub(crate) fn judge(&self, pdf: &[u8]) -> Result<Report, SealError> {
        verify(pdf, &self.trusted())
    }
}

fn appearance() -> Appearance {
    Appearance { width_pt: 150.0, height_pt: 50.0, content: b"0.5 w 1 1 148 48 re S".to_vec() }
}

pub(crate) fn seal_request() -> Request {
    Request {
        field: "seal".into(),
        appearance: Some(appearance()),
        name: "Bridge seal, Hillside Eye Clinic".into(),
        reason: Some("Sheet as issued".into()),
        location: Some("Hillside Eye Clinic".into()),
        at: at(5),
        kind: Kind::Certification,
    }
}

pub(crate) fn approval_request() -> Request {
    Request {
        field: "approval".into(),
        name: "Dr Ilse Anvärd".into(),
        reason: Some("Plan approved".into()),
        location: None,
        at: at(6),
        kind: Kind::Approval,
        appearance: Some(appearance()),
    }
}

/// Writes objects, one table and a trailer; object 1 is the catalog.
pub(crate) fn write_pdf(objects: &[&str]) -> Vec<u8> {
    let mut pdf = b"%PDF-1.7\n%\xE2\xE3\xCF\xD3\n".to_vec();
    let mut table = format!("xref\n0 {}\n0000000000 65535 f \n", objects.len() + 1);
    for (i, object) in objects.iter().enumerate() {
        table.push_str(&format!("{:010} 00000 n \n", pdf.len()));
        pdf.extend_from_slice(format!("{} 0 obj\n{object}\nendobj\n", i + 1).as_bytes());
    }
    let xref_at = pdf.len();
    let size = objects.len() + 1;
    let id = "<00112233445566778899aabbccddeeff>";
    table.push_str(&format!("trailer\n<</Size {size}/Root 1 0 R/Info 9 0 R/ID[{id}{id}]>>"));
    pdf.extend_from_slice(table.as_bytes());
    pdf.extend_from_slice(format!("\nstartxref\n{xref_at}\n%%EOF").as_bytes());
    pdf
}

/// The objects of the small sheet: catalog, pages, page, content, font, two empty fields, placeholder, info.
pub(crate) const SHEET: [&str; 9] = [
    "<</Type/Catalog/Pages 2 0 R/AcroForm<</Fields[6 0 R 7 0 R]/SigFlags 1>>>>",
    "<</Type/Pages/Kids[3 0 R]/Count 1>>",
    "<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]/Contents 4 0 R/Annots[6 0 R 7 0 R]/Resources<</Font<</F1 5 0 R>>>>>>",
    "<</Length 45>>stream\nBT /F1 24 Tf 72 720 Td (Axis 098 degrees) Tj ET\nendstream",
    "<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>",
    "<</Type/Annot/Subtype/Widget/FT/Sig/T(seal)/P 3 0 R/Rect[72 72 222 122]/F 4/AP<</N 8 0 R>>>>",
    "<</Type/Annot/Subtype/Widget/FT/Sig/T(approval)/P 3 0 R/Rect[272 72 422 122]/F 4/AP<</N 8 0 R>>\
     /Lock<</Type/SigFieldLock/Action/All>>>>",
    "<</Type/XObject/Subtype/Form/BBox[0 0 150 50]/Resources<<>>/Length 13>>stream\n0 0 50 50 re S\nendstream",
    "<</Title(Plan sheet)/Producer(test)>>",
];

pub(crate) fn sheet() -> Vec<u8> {
    let mut objects = SHEET.map(str::to_owned);
    for i in [3, 7] {
        objects[i] = with_length(&objects[i]);
    }
    write_pdf(&objects.each_ref().map(String::as_str))
}

/// Puts the true length of the stream data into its dictionary.
pub(crate) fn with_length(stream: &str) -> String {
    let data = stream.split("stream\n").nth(1).unwrap().strip_suffix("\nendstream").unwrap();
    let (head, tail) = stream.split_once("/Length ").unwrap();
    format!("{head}/Length {}{}", data.len(), tail.trim_start_matches(|c: char| c.is_ascii_digit()))
}

/// Appends an incremental update in the program's own form, as an attacker could.
pub(crate) fn update(pdf: &[u8], objects: &[(u32, &str)]) -> Vec<u8> {
    let text = String::from_utf8_lossy(pdf);
    let previous = text.rsplit("startxref\n").next().unwrap().split('\n').next().unwrap().to_owned();
    let trailer = text.rsplit("trailer\n").next().unwrap().split("\nstartxref").next().unwrap();
    let number = |key: &str| {
        let rest = trailer.split(key).nth(1).unwrap_or("0").trim_start();
        rest.chars().take_while(char::is_ascii_digit).collect::<String>().parse::<u32>().unwrap_or(0)
    };
    let id = trailer.split("/ID").nth(1).unwrap().split(']').next().unwrap();
    let mut out = pdf.to_vec();
    if out.last() != Some(&b'\n') {
        out.push(b'\n');
    }
    let mut table = String::from("xref\n");
    let mut size = number("/Size");
    for (number, object) in objects {
        table.push_str(&format!("{number} 1\n{:010} 00000 n\r\n", out.len()));
        out.extend_from_slice(format!("{number} 0 obj\n{object}\nendobj\n").as_bytes());
        size = size.max(number + 1);
    }
    let xref_at = out.len();
    out.extend_from_slice(table.as_bytes());
    out.extend_from_slice(
        format!(
            "trailer\n<</Size {size}/Root 1 0 R/Info 9 0 R/ID{id}]/Prev {previous}>>\nstartxref\n{xref_at}\n%%EOF\n"
        )
        .as_bytes(),
    );
    out
}

/// Whether a verdict stops the file: unreadable, unsigned or altered.
pub(crate) fn is_refused(verdict: &Result<Report, SealError>) -> bool {
    use axiswright::seal::Standing;
    verdict
        .as_ref()
        .map_or(true, |report| matches!(report.standing(), Standing::Altered | Standing::Unsigned))
}
