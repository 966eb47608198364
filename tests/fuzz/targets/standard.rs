//! Any text as a nursery's standard: it is right or the mistake is told, the same by all that read it.
#![no_main]

use variegauge::record::standard_hash;
use variegauge::standard::{Standard, explain};

libfuzzer_sys::fuzz_target!(|text: &str| {
    let (read, explained) = (Standard::parse(text), explain(text));
    assert_eq!(read.as_ref().err().map(ToString::to_string), explained.as_ref().err().map(ToString::to_string));
    if let Ok(standard) = read {
        // All numbers are finite: JSON has no others.
        let again: Standard = serde_json::from_str(&serde_json::to_string(&standard).expect("JSON")).expect("a standard");
        assert_eq!(standard_hash(&again), standard_hash(&standard));
    }
});
