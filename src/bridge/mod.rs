//! The order of stages: from what has arrived to what may leave.
//!
//! [`consider`] takes one case through the stages and has no effect; [`consider_case_file`] does so without a site. [`pass`]
//! does a whole pass over a site: take, read, consider, withdraw, issue, publish - in this order. [`approve`] is a person's
//! act beside it.

mod again;
mod doctor;
mod error;
mod event;
mod fold;
mod implanted;
mod init;
mod issue;
mod lookup;
mod marks;
mod memory;
mod one_case;
mod pass;
mod people_acts;
mod read;
mod records;
mod stages;
mod store;
mod take;
mod thickness;
mod views;
mod watch;
mod weigh_up;
mod writers;

pub use again::{Again, again};
pub use doctor::{Health, Looked, examine};
pub use error::BridgeError;
pub use event::Event;
pub use fold::{CaseRecord, Document, Issue, Made, Standing};
pub use implanted::state_implanted;
pub use init::{Initialised, Request as InitRequest, init};
pub use issue::Approver;
pub use lookup::{KnownSheet, SheetCode, SheetStanding, sheet_of_bytes, sheet_of_code};
pub use marks::{eye_of, mark};
pub use one_case::consider_case_file;
pub use pass::{CaseView, Look, PassReport, approve, look, pass, view};
pub use people_acts::{
    Acting, answer, approve_settings, confirm_clock, enter, give_surgeon_key, surgeon_credential,
};
pub use read::Reading;
pub use records::{ChainCheck, Records, check_chain, is_damage};
pub use stages::{Considered, Outcome, State, consider};
pub use store::{Settings, SettingsText, Site, settings_texts};
pub use take::{Taking, take_all};
pub use thickness::{ThicknessRead, enter_thickness};
pub use views::Views;
pub use watch::{INTERVAL, Signal, signals, watch};
pub use weigh_up::{Weighed, Weighing, weigh_up};
