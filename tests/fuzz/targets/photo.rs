//! Any bytes as a photo's file.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = variegauge::photo::decode(bytes);
});
