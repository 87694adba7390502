//! What stands on every page: identity, eye, case, version, page number, warnings and cautions.

use super::block::{LEFT, RIGHT, WIDTH, fitted, grey, label, lines};
use super::error::SheetError;
use super::facts::SheetFacts;
use super::words::{self, Who};
use crate::finding::{Code, Finding};
use crate::model::Eye;
use crate::page::{Ink, Page, Paint, Stroke, Style, layout};

/// Across every page of a site that is not live.
pub(super) const WARNING: &str = "TEST - NOT FOR PATIENT CARE";

/// Cautions of every page of a sheet.
const CAUTIONS: &str = "Decision support, not a certified medical device unless the operator has made it one. The licensed surgeon \
    decides. Local protocols come first. Valid only if the code shows CURRENT on the day of operation. Destroy after the list.";

/// On every page of a patient who could be taken for another of the list.
const NAME_ALERT: &str = "NAME ALERT: another patient on this list is alike";
/// The bar behind it, mm.
const ALERT_TOP: f64 = 4.4;
const ALERT_WIDTH: f64 = 100.0;
const ALERT_HEIGHT: f64 = 5.2;

/// Where the body of a page begins, mm.
pub(super) const TOP: f64 = 38.5;
/// Where it must end, mm.
pub(super) const BOTTOM: f64 = 277.0;

/// What stands in the eye field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum EyeField {
    /// The planned eye.
    Certain(Eye),
    /// A laterality finding is open, or no eye is known.
    NotCertain,
}

/// The frame of every page of one paper.
pub(super) struct Frame<'a> {
    /// Who the patient is.
    pub(super) who: Who,
    /// The eye.
    pub(super) eye: EyeField,
    /// Site, case, version, times.
    pub(super) facts: &'a SheetFacts,
    /// What the paper is: a sheet has an id and the cautions of a sheet.
    pub(super) kind: Kind,
    /// Another patient of the list could be taken for this one; nothing of the other is said.
    pub(super) name_alert: bool,
}

/// Whether a finding says that another patient of the list is alike.
pub(super) fn is_name_alert(finding: &Finding) -> bool {
    finding.code() == Code::P13
}

/// Which paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A plan sheet.
    Sheet,
    /// Paper of a case that is not released.
    Notice,
}

impl Frame<'_> {
    /// A page with its warnings, identity and eye.
    pub(super) fn begin(&self) -> Result<Page, SheetError> {
        let mut page = Page::a4();
        if !self.facts.live {
            page.turned_text(112.0, 160.0, 55.0, Style::bold(42.0).centred().inked(grey(0.87)), WARNING);
        }
        self.warnings(&mut page);
        self.identity(&mut page)?;
        self.eye_field(&mut page);
        page.line((LEFT, 35.2), (RIGHT, 35.2), Stroke::solid(0.6));
        Ok(page)
    }

    fn warnings(&self, page: &mut Page) {
        let words: Vec<&str> =
            [(!self.facts.live).then_some(WARNING), self.facts.test_clock.then_some("TEST CLOCK")]
                .into_iter()
                .flatten()
                .collect();
        let words = words.join("   ·   ");
        let style = Style::bold(9.0);
        if self.name_alert {
            page.rectangle((LEFT, ALERT_TOP), ALERT_WIDTH, ALERT_HEIGHT, Paint::fill(Ink::BLACK));
            let middle = LEFT + ALERT_WIDTH / 2.0;
            page.text(middle, 8.0, Style::bold(10.0).centred().inked(Ink::WHITE), NAME_ALERT);
            if !words.is_empty() {
                page.text(RIGHT, 8.0, style.right(), words);
            }
        } else if !words.is_empty() {
            page.text(105.0, 8.0, style.centred(), words);
        }
    }

    fn identity(&self, page: &mut Page) -> Result<(), SheetError> {
        let who = &self.who;
        let width = 112.0;
        let sizes = [(18.0, 1), (15.0, 1), (13.0, 1), (11.0, 2), (9.0, 2), (8.0, 3)];
        let name = who
            .other_script
            .as_ref()
            .map_or_else(|| who.name.clone(), |other| format!("{} ({other})", who.name));
        let (style, broken) = fitted("the name", &name, width, Style::bold(18.0), &sizes)?;
        let first = if broken.len() == 1 { 18.0 } else { 13.6 };
        lines(page, LEFT, first, style, &broken);
        let y = 25.0;
        let below = y + 5.2;
        label(page, LEFT, y, "BORN");
        page.text(LEFT, below, Style::bold(11.5), who.born.as_str());
        label(page, LEFT + 30.0, y, "SEX");
        page.text(LEFT + 30.0, below, Style::bold(11.5), who.sex.as_str());
        let left = LEFT + 42.0;
        let room = width - 42.0;
        label(page, left, y, "PATIENT NUMBER");
        let number = Style::bold(11.5);
        let number = layout::fit(&who.number, room, number, 8.0)?
            .ok_or_else(|| SheetError::DoesNotFit { what: "the patient number", text: who.number.clone() })?;
        page.text(left, below, number, who.number.as_str());
        if let Some(authority) = &who.authority {
            let beside = layout::measure(&who.number, number)? + 2.5;
            let style = Style::regular(8.0);
            if let Some(style) = layout::fit(authority, room - beside, style, 8.0)? {
                page.text(left + beside, below, style, authority.as_str());
            } else {
                let text = format!("number given by {authority}");
                let (style, words) = fitted("the authority of the number", &text, width, style, &[(8.0, 1)])?;
                page.text(LEFT, below + 3.8, style, words.concat());
            }
        }
        Ok(())
    }

    fn eye_field(&self, page: &mut Page) {
        let (left, top, width, height) = (128.0, 11.0, RIGHT - 128.0, 21.5);
        page.rectangle((left, top), width, height, Paint::fill(Ink::BLACK));
        let centre = left + width / 2.0;
        let white = |size: f64| Style::bold(size).centred().inked(Ink::WHITE);
        match self.eye {
            EyeField::Certain(eye) => {
                page.text(centre, top + 10.8, white(29.0), format!("{} EYE", eye.capitals()));
                page.text(centre, top + 18.0, white(16.0), eye.code());
            }
            EyeField::NotCertain => {
                page.text(centre, top + 9.0, white(22.0), "EYE");
                page.text(centre, top + 17.5, white(22.0), "NOT CERTAIN");
            }
        }
    }

    /// Adds the foot of a page once the number of pages is known.
    pub(super) fn finish(&self, page: &mut Page, number: usize, of: usize) -> Result<(), SheetError> {
        let facts = self.facts;
        let rule = if self.kind == Kind::Sheet { 279.0 } else { 286.5 };
        page.line((LEFT, rule), (RIGHT, rule), Stroke::solid(0.3));
        let small = Style::regular(8.0);
        if self.kind == Kind::Sheet {
            let broken = layout::wrap(CAUTIONS, WIDTH, small)?;
            lines(page, LEFT, 282.6, small, &broken);
        }
        let mut parts = vec![format!("Case {}", facts.case), format!("version {}", facts.version)];
        if let (Kind::Sheet, Some(old)) = (self.kind, facts.supersedes) {
            parts.push(format!("replaces version {old}"));
        }
        if self.kind == Kind::Sheet {
            parts.push(format!("sheet {}", facts.sheet_id));
        }
        parts.push(format!("issued {}", words::moment(facts.issued_at, &facts.zone)));
        let counted = format!("page {number} of {of}");
        let strong = Style::bold(9.0);
        let room = WIDTH - layout::measure(&counted, strong)? - 4.0;
        let text = parts.join("   ·   ");
        let style = layout::fit(&text, room, strong, 8.0)?
            .ok_or_else(|| SheetError::DoesNotFit { what: "the foot of the page", text: text.clone() })?;
        page.text(LEFT, 291.0, style, text);
        page.text(RIGHT, 291.0, strong.right(), counted);
        Ok(())
    }
}
