//! Report and listing by the built command: what is in them, what must not be, whole or absent.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

mod support;

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use support::{Bench, grey_jpeg};

/// A demo photo with all that a camera writes about places and people; each text holds `SECRET`.
fn photo_with_secrets() -> Vec<u8> {
    let jpeg = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/ZB-5142.jpg")).unwrap();
    let mut photo = jpeg[..2].to_vec();
    let mut segment = |marker: u8, bytes: &[u8]| {
        photo.extend([0xff, marker]);
        photo.extend(u16::try_from(bytes.len() + 2).unwrap().to_be_bytes());
        photo.extend(bytes);
    };
    segment(0xe1, &exif());
    segment(0xe1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>SECRET-XMP</x:xmpmeta>");
    segment(0xfe, b"SECRET-COMMENT");
    photo.extend(&jpeg[2..]);
    photo
}

/// EXIF (CIPA DC-008): description, make, date, and a GPS directory with a latitude of 51 degrees 28 minutes.
fn exif() -> Vec<u8> {
    let entry = |tag: u16, kind: u16, count: u32, value: u32| {
        let mut bytes = Vec::new();
        bytes.extend(tag.to_le_bytes());
        bytes.extend(kind.to_le_bytes());
        bytes.extend(count.to_le_bytes());
        bytes.extend(value.to_le_bytes());
        bytes
    };
    let mut tiff = b"II*\0\x08\0\0\0\x04\0".to_vec();
    // Texts follow the first directory (8 + 2 + 4 * 12 + 4 = 62), then the GPS directory.
    tiff.extend(entry(0x010e, 2, 19, 62));
    tiff.extend(entry(0x010f, 2, 12, 81));
    tiff.extend(entry(0x0132, 2, 20, 93));
    tiff.extend(entry(0x8825, 4, 1, 113));
    tiff.extend([0; 4]);
    tiff.extend(b"SECRET-DESCRIPTION\0SECRET-MAKE\x002026:03:01 10:11:12\0".iter().take(51));
    tiff.extend(2_u16.to_le_bytes());
    tiff.extend(entry(1, 2, 2, u32::from(b'N')));
    tiff.extend(entry(2, 5, 3, 143));
    tiff.extend([0; 4]);
    for (over, under) in [(51_u32, 1_u32), (28, 1), (0, 1)] {
        tiff.extend(over.to_le_bytes());
        tiff.extend(under.to_le_bytes());
    }
    [b"Exif\0\0".as_slice(), &tiff].concat()
}

/// The pictures inside a page.
fn pictures(page: &str) -> Vec<Vec<u8>> {
    let data = page.split("src=\"data:image/").skip(1).map(|rest| rest.split_once(',').unwrap().1);
    data.map(|data| BASE64_STANDARD.decode(data.split('"').next().unwrap()).unwrap()).collect()
}

fn holds(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

#[test]
fn a_listing_tells_nothing_private() {
    let bench = Bench::new();
    let photo = photo_with_secrets();
    assert!(holds(&photo, b"SECRET-MAKE") && holds(&photo, b"Exif"));
    bench.put("SECRET-FOLDER/SECRET-FILE.jpg", &photo);
    let args = ["listing", "SECRET-FOLDER/SECRET-FILE.jpg", "--name", "Zebra & <b>"];
    let run = bench.run(&[&args[..], &["-o", "a.html", "-o", "a.pdf", "-o", "a.png"]].concat());
    assert_eq!((run.code, run.stdout.as_str()), (0, ""), "{}", run.stderr);
    let files = bench.files();
    assert_eq!(files.len(), 4, "nothing left over");
    assert_eq!(files[&bench.path("SECRET-FOLDER/SECRET-FILE.jpg")], photo, "the photo is only read");
    let page = bench.text("a.html");
    let inside = pictures(&page);
    assert_eq!(inside.len(), 1);
    for bytes in ["a.html", "a.pdf", "a.png"].iter().map(|name| &files[&bench.path(name)]).chain(&inside) {
        for secret in [b"SECRET".as_slice(), b"Exif", b"xmpmeta", b"\x33\0\0\0\x01\0\0\0\x1c\0\0\0"] {
            assert!(!holds(bytes, secret), "{secret:?}");
        }
    }
    for told in ["Zebra &amp; &lt;b&gt;, ZB-5142", "rosette diameter", "n = ", "95 % range", "label card", "season"] {
        assert!(page.contains(told), "{told}");
    }
    assert!(
        files[&bench.path("a.pdf")].starts_with(b"%PDF-1.7") && files[&bench.path("a.png")].starts_with(b"\x89PNG")
    );
}

#[test]
fn a_listing_needs_a_photo_a_plant_and_a_free_name() {
    let bench = Bench::new();
    bench.put("grey.jpg", grey_jpeg());
    bench.put("there.pdf", "x");
    std::fs::copy(bench.path("grey.jpg"), bench.path("photo.png")).unwrap();
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/ZB-4753-tray.jpg");
    for (args, code, word) in [
        (&["grey.jpg", "-o", "a.pdf"][..], 1, "grey.jpg: "),
        (&["grey.jpg"], 2, "--output"),
        (&["grey.jpg", "-o", "a.txt"], 2, ".html, .pdf or .png"),
        (&["none.jpg", "-o", "a.pdf"], 3, "no photo found"),
        (&[".", "-o", "a.pdf"], 3, "not a file"),
        (&["grey.jpg", "-o", "there.pdf"], 4, "--force"),
        (&["photo.png", "--force", "-o", "photo.png"], 4, "files to be read"),
        (&[demo, "-o", "a.pdf"], 2, "choose one with --plant"),
        (&[demo, "--plant", "9", "-o", "a.pdf"], 2, "3 ZB-4753"),
    ] {
        let run = bench.run(&[&["listing"], args].concat());
        assert_eq!((run.code, run.stdout.as_str()), (code, ""), "{args:?}: {}", run.stderr);
        assert!(run.stderr.contains(word), "{args:?}: {}", run.stderr);
    }
    assert_eq!(bench.files().len(), 3, "nothing was made");
}

#[test]
fn a_report_is_one_page_with_every_photo_and_nothing_from_elsewhere() {
    let bench = Bench::new();
    bench.put("SECRET-FOLDER/<script>alert(1)<b>.jpg", photo_with_secrets());
    bench.put("SECRET-FOLDER/no_plant.jpg", grey_jpeg());
    bench.put("SECRET-FOLDER/text.jpg", "hello");
    bench.put("mine.toml", "names.revert = \"=cmd|'/c calc'!A1 <script>\"\n");
    let args = ["grade", "SECRET-FOLDER", "--standard", "mine.toml", "--report", "r.html", "--csv", "r.csv"];
    let run = bench.run(&args);
    assert_eq!(run.code, 1, "{}", run.stderr);
    assert!(run.stderr.contains("r.html"), "{}", run.stderr);
    let page = bench.text("r.html");
    for told in
        ["no_plant.jpg", "text.jpg", "What to do: ", "ZB-5142", "&lt;script&gt;alert(1)", "calc'!A1 &lt;script&gt;"]
    {
        assert!(page.contains(told), "{told}");
    }
    assert_eq!(page.matches("<script").count(), 1, "the sorting alone");
    assert!(!page.contains("SECRET") && !page.contains("http:") && !page.contains("https:"));
    let inside = pictures(&page);
    // Two of the plant and a sample for each of seven tissues.
    assert_eq!(inside.len(), 2 + 7);
    assert!(inside.iter().all(|bytes| !holds(bytes, b"SECRET") && !holds(bytes, b"Exif")));
    assert!(bench.text("r.csv").contains(",'=cmd|'/c calc'!A1 <script>,"));
    let again = bench.run(&args);
    assert_eq!((again.code, bench.text("r.html") == page), (1, true), "same photos, same bytes");
}

#[test]
fn a_report_is_never_a_photo_and_is_whole_or_absent() {
    let bench = Bench::new();
    bench.put("in/a.jpg", grey_jpeg());
    let run = bench.run(&["grade", "in", "--report", "no/such/r.html"]);
    assert_eq!(run.code, 4, "{}", run.stderr);
    std::fs::hard_link(bench.path("in/a.jpg"), bench.path("r.html")).unwrap();
    let run = bench.run(&["grade", "in", "--report", "r.html"]);
    assert_eq!(run.code, 4, "{}", run.stderr);
    assert!(run.stderr.contains("files to be read"), "{}", run.stderr);
    let run = bench.run(&["grade", "in", "--report", "a.x", "--csv", "./a.x"]);
    assert_eq!(run.code, 2, "{}", run.stderr);
    assert_eq!(bench.files().len(), 2);
}
