//! Who may import whom. A stage that reaches up or sideways fails here by name.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Each module of the library with the modules of ours that it may import.
const MAY: [(&str, &str); 25] = [
    ("base", ""),
    ("error", ""),
    ("batch", ""),
    ("statistics", "base"),
    ("options", "base standard"),
    ("photo", "base error"),
    ("network", "base"),
    ("card", "base photo"),
    ("print", "base card"),
    ("calibrate", "base card error options photo"),
    ("segment", "base error options photo network calibrate"),
    ("label", "base card calibrate segment"),
    ("standard", "error"),
    ("tissue", "base options network calibrate segment"),
    ("pattern", "base tissue"),
    ("measure", "base options calibrate segment tissue"),
    ("bands", "base options segment tissue"),
    ("grade", "base standard"),
    ("pipeline", "base bands card error options standard photo calibrate segment label tissue pattern measure grade"),
    ("record", "base bands card error options standard calibrate tissue pattern grade pipeline"),
    ("book", "base card error record tissue"),
    ("mothers", "base book standard statistics"),
    ("season", "base book standard statistics"),
    ("report", "base bands book card mothers print season standard statistics error options tissue grade record"),
    ("lib", ""),
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let files = entries.flat_map(|path| if path.is_dir() { sources(&path) } else { vec![path] });
    files.filter(|path| path.extension().is_some_and(|ending| ending == "rs")).collect()
}

/// The part of a file before its tests: tests may use what they like.
fn code(path: &Path) -> String {
    let text = fs::read_to_string(path).unwrap();
    text.split("#[cfg(test)]").next().unwrap().to_owned()
}

/// Whether a file is compiled for tests only, which may use what they like.
fn tests_alone(path: &Path) -> bool {
    ["calibrate/tests.rs", "bands/tests.rs", "report/traps.rs"].iter().any(|file| path.ends_with(file))
}

/// Modules named as `root::NAME`.
fn imports(code: &str, root: &str) -> BTreeSet<String> {
    let lines = code.lines().filter(|line| !line.trim_start().starts_with("//"));
    let names = lines.flat_map(|line| line.split(root).skip(1).collect::<Vec<_>>());
    names.map(|rest| rest.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '_').collect()).collect()
}

/// Name of the library's or the binary's module that a file belongs to.
fn module(path: &Path, src: &Path) -> String {
    let first = path.strip_prefix(src).unwrap().components().next().unwrap();
    Path::new(first.as_os_str()).file_stem().unwrap().to_string_lossy().into_owned()
}

#[test]
fn every_import_is_allowed() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    for path in sources(&src).into_iter().filter(|path| !tests_alone(path)) {
        let module = module(&path, &src);
        let (root, allowed): (_, Vec<&str>) = match module.as_str() {
            // The command's own modules; they use the library as any user would.
            "main" | "cli" => ("crate::", vec!["cli"]),
            name => {
                let found = MAY.iter().find(|(module, _)| *module == name);
                let (_, may) = found.unwrap_or_else(|| panic!("{name} is not in the table of tests/layers.rs"));
                ("crate::", may.split_whitespace().chain([name]).collect())
            }
        };
        for import in imports(&code(&path), root) {
            if !allowed.contains(&import.as_str()) {
                wrong.push(format!("{} imports {import}, {module} may import: {}", path.display(), allowed.join(" ")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn imports_name_the_module() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for path in sources(&src) {
        let code = code(&path);
        assert!(!code.contains("use crate::{"), "{}: name the module, `use crate::error::Result`", path.display());
        assert!(tests_alone(&path) || !code.contains("::*;"), "{}: no glob imports", path.display());
    }
}

#[test]
fn the_test_sees_an_import() {
    let code = "use crate::error::Result;\n// crate::cli::x\nlet x = crate::base::raster::Rect::default();";
    assert_eq!(imports(code, "crate::"), ["base", "error"].map(String::from).into());
}
