//! Any bytes as a photo's file.
#![no_main]

mod forgive;

libfuzzer_sys::fuzz_target!(init: forgive::forgive_decoders(), |bytes: &[u8]| {
    let _ = variegauge::photo::decode(bytes);
});
