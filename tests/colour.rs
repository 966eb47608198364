//! The colour foundation against published constants and tables. Sources and licences: `fixtures/colour/README.md`.

use palette::IntoColor;
use palette::color_difference::Ciede2000;
use palette::convert::FromColorUnclamped;
use proptest::prelude::*;
use variegauge::base::color::light::{self, Light, Mired};
use variegauge::base::color::matrix::{self, Matrix};
use variegauge::base::color::oklab::{Converter, LINEAR_SRGB_TO_LMS, LMS_CBRT_TO_OKLAB};
use variegauge::base::color::{OkLab, transfer};

/// A table's rows as name -> text.
fn table(name: &str) -> Vec<std::collections::HashMap<String, String>> {
    let path = format!("{}/fixtures/colour/{name}", env!("CARGO_MANIFEST_DIR"));
    let rows: Vec<_> = csv::Reader::from_path(path)
        .expect("a committed table")
        .deserialize()
        .map(|row| row.expect("a row as wide as its header"))
        .collect();
    assert!(rows.len() >= 34, "{name} has {} rows", rows.len());
    rows
}

/// Numbers in the named columns.
fn numbers<const N: usize>(row: &std::collections::HashMap<String, String>, columns: [&str; N]) -> [f64; N] {
    columns.map(|column| row[column].parse().expect("a number"))
}

/// The codes of a row of `srgb_lab_oklab_pairs.csv`.
fn codes(row: &std::collections::HashMap<String, String>) -> [u8; 3] {
    ["r8", "g8", "b8"].map(|column| row[column].parse().expect("a code"))
}

fn constants() -> serde_json::Value {
    let path = format!("{}/fixtures/colour/colour_constants.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("a committed file")).expect("JSON")
}

fn worst<const N: usize>(a: [f64; N], b: [f64; N]) -> f64 {
    a.iter().zip(b).map(|(x, y)| (x - y).abs()).fold(0.0, f64::max)
}

fn assert_matrix(got: &Matrix, wanted: &serde_json::Value, tolerance: f64) {
    let wanted: Matrix = serde_json::from_value(wanted.clone()).expect("a matrix");
    for (got, wanted) in got.iter().zip(wanted) {
        assert!(worst(*got, wanted) <= tolerance, "{got:?} is not {wanted:?}");
    }
}

/// IEC 61966-2-1 and SMPTE EG 432-1: matrices derived from the primaries, as colour-science derives them; the standard's
/// own four decimals within their rounding (its inverse is rounded from the rounded matrix, hence 5e-4).
#[test]
fn matrices_follow_from_the_primaries() {
    let known = constants();
    let srgb = matrix::rgb_to_xyz(&matrix::SRGB, matrix::D65);
    assert_matrix(&srgb, &known["srgb_RGB_to_XYZ_derived"], 1e-12);
    assert_matrix(&srgb, &known["srgb_RGB_to_XYZ_IEC_4dp"], 5e-5);
    assert_matrix(&matrix::inverse(&srgb), &known["srgb_XYZ_to_RGB_derived"], 1e-12);
    assert_matrix(&matrix::inverse(&srgb), &known["srgb_XYZ_to_RGB_IEC_4dp"], 5e-4);
    let p3 = matrix::rgb_to_xyz(&matrix::DISPLAY_P3, matrix::D65);
    assert_matrix(&p3, &known["displayp3_RGB_to_XYZ_derived"], 1e-12);
    assert_matrix(&matrix::to_srgb(&matrix::DISPLAY_P3), &known["displayp3_linear_to_srgb_linear"], 1e-12);
    assert_matrix(&matrix::to_srgb(&matrix::SRGB), &serde_json::json!(matrix::IDENTITY), 1e-12);
}

/// Bradford (Lam 1985; ICC.1 Annex E) between D65 and D50, both ways.
#[test]
fn bradford_matches_the_published_matrices() {
    let known = constants();
    let (d65, d50) = (matrix::xyz_of_xy(matrix::D65), matrix::xyz_of_xy([0.3457, 0.3585]));
    assert_matrix(&matrix::bradford(d65, d50), &known["bradford_D65_to_D50"], 1e-12);
    assert_matrix(&matrix::bradford(d50, d65), &known["bradford_D50_to_D65"], 1e-12);
}

/// A white surface becomes neutral whatever its colour, and keeps its luminance.
#[test]
fn adaptation_makes_white_neutral_and_keeps_luminance() {
    for white in [[1.0f32, 1.0, 1.0], [1.27, 1.0, 0.81], [0.4, 0.5, 0.6]] {
        let grey = matrix::apply(&matrix::adapt_srgb(white), white.map(f64::from));
        let luminance = matrix::apply(&matrix::rgb_to_xyz(&matrix::SRGB, matrix::D65), white.map(f64::from))[1];
        assert!(worst(grey, [luminance; 3]) < 1e-9, "{white:?} became {grey:?}");
    }
}

/// IEC 61966-2-1 curve, all 256 codes: 1e-12 in double, half a unit of single precision in the table.
#[test]
fn transfer_curve_matches_all_codes() {
    for (code, row) in table("srgb_decode_256.csv").iter().enumerate() {
        let [wanted] = numbers(row, ["linear"]);
        let coded = code as f64 / 255.0;
        assert!((transfer::decode(coded) - wanted).abs() < 1e-12);
        assert!((f64::from(transfer::DECODE[code]) - wanted).abs() <= 3e-8);
        assert!((transfer::encode(wanted) - coded).abs() < 1e-7, "code {code}");
    }
}

/// CIE 15 lightness function on XYZ over white.
fn cielab(xyz: [f64; 3], white: [f64; 3]) -> [f64; 3] {
    let f = |t: f64| if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 };
    let [x, y, z] = [f(xyz[0] / white[0]), f(xyz[1] / white[1]), f(xyz[2] / white[2])];
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// 230 colours: XYZ and CIELAB through the derived matrix to 1e-6; Oklab's direct matrices to 1e-9.
#[test]
fn lab_and_oklab_match_the_table_in_double_precision() {
    let to_xyz = matrix::rgb_to_xyz(&matrix::SRGB, matrix::D65);
    for row in table("srgb_lab_oklab_pairs.csv") {
        let linear = codes(&row).map(|code| transfer::decode(f64::from(code) / 255.0));
        let xyz = matrix::apply(&to_xyz, linear);
        assert!(worst(xyz, numbers(&row, ["X", "Y", "Z"])) < 1e-9);
        let lab = cielab(xyz, matrix::xyz_of_xy(matrix::D65));
        assert!(worst(lab, numbers(&row, ["lab_L", "lab_a", "lab_b"])) < 1e-6, "{lab:?}");
        let roots = matrix::apply(&LINEAR_SRGB_TO_LMS, linear).map(f64::cbrt);
        let oklab = matrix::apply(&LMS_CBRT_TO_OKLAB, roots);
        assert!(worst(oklab, numbers(&row, ["oklab_L", "oklab_a", "oklab_b"])) < 1e-9, "{oklab:?}");
    }
}

/// `palette` (the reference library for CIELAB) uses rounded matrices and white: within the 0.021 by which the
/// standard's four-decimal matrix differs from the derived one.
#[test]
fn palette_cielab_agrees_within_matrix_rounding() {
    for row in table("srgb_lab_oklab_pairs.csv") {
        let lab: palette::Lab<palette::white_point::D65, f64> =
            palette::Srgb::from(codes(&row)).into_format::<f64>().into_color();
        assert!(worst([lab.l, lab.a, lab.b], numbers(&row, ["lab_L", "lab_a", "lab_b"])) < 0.021, "{lab:?}");
    }
}

/// The fast road in single precision against the table's direct columns. Worst is black, by construction: L = 1e-5.
#[test]
fn converter_matches_the_oklab_table() {
    let converter = Converter::new(&matrix::IDENTITY, [1.0; 3]);
    let mut most = 0.0f64;
    for row in table("srgb_lab_oklab_pairs.csv") {
        let got = converter.oklab(codes(&row));
        let wanted = numbers(&row, ["oklab_L", "oklab_a", "oklab_b"]);
        most = most.max(worst([got.l, got.a, got.b].map(f64::from), wanted));
    }
    assert!(most < 2e-5, "worst difference {most:e}");
    println!("worst difference {most:.1e}");
}

/// The slow road: decode, primaries, Bradford, then `palette`, all in double precision. Unclamped: a strong adaptation
/// lifts bright pixels a little above L = 1, and so does the fast road.
fn reference(primaries: &matrix::Primaries, white: [f32; 3], code: [u8; 3]) -> [f64; 3] {
    let linear = code.map(|value| transfer::decode(f64::from(value) / 255.0));
    let srgb = matrix::apply(&matrix::to_srgb(primaries), linear);
    let [r, g, b] = matrix::apply(&matrix::adapt_srgb(white), srgb);
    let oklab = palette::Oklab::from_color_unclamped(palette::LinSrgb::new(r, g, b));
    [oklab.l, oklab.a, oklab.b]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// The folded matrix and the fast cube root change nothing that a measurement could see.
    #[test]
    fn converter_equals_the_palette_path(code: [u8; 3], p3: bool, mired in -60.0..100.0, duv in -0.015..0.015) {
        let primaries = if p3 { matrix::DISPLAY_P3 } else { matrix::SRGB };
        let white = Light::from_srgb([1.0; 3]).unwrap().shifted(mired, duv).srgb();
        let got = Converter::new(&matrix::to_srgb(&primaries), white).oklab(code);
        let wanted = reference(&primaries, white, code);
        let difference = worst([got.l, got.a, got.b].map(f64::from), wanted);
        prop_assert!(difference < 2e-5, "{difference:e} at {code:?}");
    }

    /// A row of any length equals its pixels one by one.
    #[test]
    fn rows_equal_single_pixels(row in proptest::collection::vec(any::<[u8; 3]>(), 0..600)) {
        let converter = Converter::new(&matrix::IDENTITY, [1.1, 1.0, 0.9]);
        let mut out = vec![OkLab::new(9.0, 9.0, 9.0); row.len()];
        converter.oklab_row(&row, &mut out);
        for (code, got) in row.iter().zip(&out) {
            let one = converter.oklab(*code);
            prop_assert!((one.l - got.l).abs() + (one.a - got.a).abs() + (one.b - got.b).abs() < 1e-6);
        }
    }

    /// The light's place by the locus and its colour are each other's inverse.
    #[test]
    fn light_round_trip(mired in 40.0..400.0, duv in -0.02..0.02) {
        let light = Light { mired: Mired(mired), duv };
        let back = Light::from_uv(light.uv()).unwrap();
        prop_assert!((back.mired.0 - mired).abs() < 0.5, "{mired} became {}", back.mired.0);
        prop_assert!((back.duv - duv).abs() < 2e-5, "{duv} became {}", back.duv);
    }
}

/// 36 lights: Robertson 1968 as colour-science computes it, Ohno 2013 and its Duv (1e-4: Robertson's locus is a chord
/// between rows 25 mired apart).
#[test]
fn colour_temperature_matches_published_methods() {
    let (mut robertson, mut ohno, mut duv) = (0.0f64, 0.0f64, 0.0f64);
    for row in table("cct_checks.csv") {
        let got = Light::from_uv(light::uv_of_xy(numbers(&row, ["x", "y"]))).unwrap();
        let [r, o, d] = numbers(&row, ["Robertson1968_K", "Ohno2013_K", "Ohno2013_Duv"]);
        robertson = robertson.max((got.mired.kelvin() - r).abs());
        ohno = ohno.max((got.mired.kelvin() - o).abs());
        duv = duv.max((got.duv - d).abs());
    }
    assert!(robertson < 0.05, "Robertson: {robertson} K");
    assert!(ohno < 2.0, "Ohno: {ohno} K");
    assert!(duv < 1e-4, "Duv: {duv}");
    println!("worst: Robertson {robertson:.4} K, Ohno {ohno:.3} K, Duv {duv:.1e}");
}

/// xy to uv and back; CIE 1960 of illuminant A is (0.2560, 0.3495) (Wyszecki and Stiles 1982, from memory).
#[test]
fn chromaticity_round_trip() {
    let a = [0.44758, 0.40745];
    assert!(worst(light::xy_of_uv(light::uv_of_xy(a)), a) < 1e-12);
    assert!(worst(light::uv_of_xy(a), [0.2560, 0.3495]) < 5e-5);
}

/// Black, deep blue or a saturated green is no light: the answer is `None`, not a number.
#[test]
fn what_is_no_light_has_no_place() {
    assert_eq!(Light::from_srgb([0.0; 3]), None);
    assert_eq!(Light::from_srgb([-1.0, 1.0, 1.0]), None);
    assert_eq!(Light::from_srgb([0.0, 0.0, 1.0]), None);
}

/// Sharma, Wu, Dalal 2005, table 1: all 34 pairs to the printed four decimals, through `palette`, both ways round.
#[test]
fn ciede2000_matches_sharma_wu_dalal() {
    let rows = table("ciede2000_sharma2005.csv");
    assert_eq!(rows.len(), 34);
    for row in rows {
        let [l1, a1, b1, l2, a2, b2] = numbers(&row, ["L1", "a1", "b1", "L2", "a2", "b2"]);
        let [wanted] = numbers(&row, ["dE00_published_4dp"]);
        let one = palette::Lab::<palette::white_point::D65, f64>::new(l1, a1, b1);
        let two = palette::Lab::<palette::white_point::D65, f64>::new(l2, a2, b2);
        assert!((one.difference(two) - wanted).abs() < 1e-4, "pair {}", row["pair"]);
        assert!((two.difference(one) - wanted).abs() < 1e-4, "pair {} reversed", row["pair"]);
    }
}
