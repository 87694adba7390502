//! The commands as a person or a script meets them: exit code, standard output, standard error.

mod clinic;
mod explaining;
mod forms;
mod ledgers;
mod logs;
mod people;
mod reading;
mod settings;
mod together;
mod verifying;
