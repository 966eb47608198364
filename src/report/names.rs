//! Names of the files made for each photo.

use crate::record::PhotoRecord;
use std::collections::HashSet;
use std::path::{Path, PathBuf};

/// Endings of the files made for each photo. A folder's files with these names are the program's own, not photos.
pub const ENDINGS: [&str; 4] = [TISSUE, PLANTS, OVERLAY, BANDS];

/// Ending of the tissue mask.
pub const TISSUE: &str = ".tissue.png";

/// Ending of the plants mask.
pub const PLANTS: &str = ".plants.png";

/// Ending of the overlay.
pub const OVERLAY: &str = ".overlay.jpg";

/// Ending of the picture of a plant's bands; the plant's index and a point stand before it.
pub const BANDS: &str = ".bands.jpg";

/// Longest stem in bytes: file systems take names of 255 bytes, and the endings, a number and a temporary ending follow.
const LONGEST: usize = 200;

/// What the names of each photo's files begin with: the photo's name without its ending. Where several photos would have
/// the same (also by upper and lower case only, which some file systems do not tell apart), the first keeps it and the
/// others get `-2`, `-3` … in input order. Control characters become `_`.
pub fn stems(photos: &[&Path]) -> Vec<String> {
    let plain: Vec<String> = photos.iter().map(|path| stem(path)).collect();
    let mut taken: HashSet<String> = HashSet::new();
    let first: Vec<bool> = plain.iter().map(|stem| taken.insert(stem.to_lowercase())).collect();
    let mut stems = Vec::with_capacity(plain.len());
    for (stem, first) in plain.into_iter().zip(first) {
        stems.push(if first {
            stem
        } else {
            let mut number = 2;
            while !taken.insert(format!("{stem}-{number}").to_lowercase()) {
                number += 1;
            }
            format!("{stem}-{number}")
        });
    }
    stems
}

/// Whether the file is one that this program makes for a photo.
pub fn is_ours(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    ENDINGS.iter().any(|ending| name.ends_with(ending))
}

/// `folder` / `stem` + `ending`.
pub fn file(folder: &Path, stem: &str, ending: &str) -> PathBuf {
    folder.join(format!("{stem}{ending}"))
}

/// A photo's name on pages that others read: the file's without its folders; its stem too where it is not the name's own.
pub(super) fn shown_name(photo: &PhotoRecord) -> String {
    let name = bare(&photo.file);
    if name.starts_with(&photo.stem) { name.into() } else { format!("{name} ({})", photo.stem) }
}

/// A file's name without its folders.
pub fn bare(file: &str) -> &str {
    file.rsplit(['/', '\\']).next().unwrap_or_default()
}

fn stem(path: &Path) -> String {
    let mut stem: String = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    stem.truncate(stem.floor_char_boundary(LONGEST));
    stem.chars().map(|c| if c.is_control() { '_' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_stems_are_numbered_and_no_name_is_used_twice() {
        let photos = ["a/IMG.jpg", "b/img.png", "IMG-2.jpg", "c/IMG.webp", "x\ny.jpg"].map(Path::new);
        assert_eq!(stems(&photos), ["IMG", "img-3", "IMG-2", "IMG-4", "x_y"]);
    }

    #[test]
    fn long_names_leave_room_for_the_endings() {
        let name = format!("{}.jpg", "ü".repeat(125));
        let stem = &stems(&[Path::new(&name)])[0];
        assert_eq!((stem.len(), stem.chars().count()), (200, 100));
    }

    #[test]
    fn own_files_are_known() {
        assert!(is_ours(Path::new("x/IMG_1.overlay.jpg")));
        assert!(!is_ours(Path::new("overlay.jpg")));
    }
}
