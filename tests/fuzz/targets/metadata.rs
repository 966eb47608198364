//! Any bytes as EXIF block and as colour profile of a sound photo: the photo is read, whatever they are.
#![no_main]

const PHOTO: &[u8] = include_bytes!("../../../fixtures/hostile/jpeg__peacock.default.jpeg");

/// A segment of a JPEG (ITU-T T.81, B.1.1.4) whose body is a name and as many of the bytes as fit.
fn segment(code: u8, name: &[u8], bytes: &[u8]) -> Vec<u8> {
    let bytes = &bytes[..bytes.len().min(65_000)];
    let length = (2 + name.len() + bytes.len()) as u16;
    [&[0xFF, code][..], &length.to_be_bytes(), name, bytes].concat()
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    for part in [segment(0xE1, b"Exif\0\0", bytes), segment(0xE2, b"ICC_PROFILE\0\x01\x01", bytes)] {
        let photo = variegauge::photo::decode(&[&PHOTO[..2], &part, &PHOTO[2..]].concat());
        assert!(photo.is_ok(), "{photo:?}");
    }
});
