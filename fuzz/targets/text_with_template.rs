#![no_main]

#[path = "../entries.rs"]
#[allow(dead_code, reason = "each target has one entry")]
mod entries;

libfuzzer_sys::fuzz_target!(|data: &[u8]| entries::text_with_template(data));
