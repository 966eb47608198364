//! Plant numbers that a batch has met, so that one that comes twice is doubted.

use super::PhotoRecord;
use crate::base::doubt::Doubt;
use std::collections::HashMap;

/// The doubt's word.
const TWICE: &str = "number-twice";

/// The numbers so far, with the stem of the photo that each was first seen in: a report does not tell folders.
#[derive(Debug, Default)]
pub struct Numbers(HashMap<String, String>);

impl Numbers {
    /// Doubts each plant of the photo whose number was met before, in this photo or an earlier one. Both are kept: two
    /// photos of one plant are as likely as a card at the wrong pot.
    pub fn mark(&mut self, photo: &mut PhotoRecord) {
        for plant in &mut photo.plants {
            // A record of an earlier run has the doubt from there.
            plant.doubts.retain(|doubt| doubt.code != TWICE);
            let Some(number) = &plant.number else { continue };
            match self.0.get(number) {
                None => {
                    self.0.insert(number.clone(), photo.stem.clone());
                }
                Some(stem) => {
                    let place = if *stem == photo.stem { "this photo" } else { stem };
                    let text = format!(
                        "the number {number} stands in {place} too; both are kept: check the card if these are two plants"
                    );
                    plant.doubts.push(Doubt::new(TWICE, text));
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::options::Options;
    use crate::pipeline::drawn;

    #[test]
    fn a_number_that_comes_twice_is_doubted_the_second_time() {
        let photo = |file: &str, numbers: [Option<&str>; 2]| {
            let mut outcome = drawn(&[&["gg"], &["cc"]]);
            for (plant, number) in outcome.plants.iter_mut().zip(numbers) {
                plant.label.number = number.map(|number| number.parse().unwrap());
            }
            PhotoRecord::graded(file, file, &outcome, &Options::default())
        };
        let mut numbers = Numbers::default();
        let mut doubts = |file, plants| {
            let mut photo = photo(file, plants);
            numbers.mark(&mut photo);
            photo
                .plants
                .iter()
                .map(|plant| plant.doubts.iter().map(|d| d.text.clone()).collect())
                .collect::<Vec<String>>()
        };
        assert_eq!(doubts("a.jpg", [Some("ZB-1"), None]), ["", ""]);
        let second = doubts("b.jpg", [Some("ZB-2"), Some("ZB-1")]);
        assert!(second[0].is_empty() && second[1].contains("ZB-1 stands in a.jpg too"), "{second:?}");
        assert!(doubts("c.jpg", [Some("ZB-3"), Some("ZB-3")])[1].contains("in this photo too"));
        let mut again = photo("d.jpg", [Some("ZB-1"), None]);
        (0..2).for_each(|_| numbers.mark(&mut again));
        assert_eq!(again.plants[0].doubts.iter().filter(|doubt| doubt.code == TWICE).count(), 1);
    }
}
