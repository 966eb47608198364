//! `variegauge card`: from plant numbers to sheets of label cards.

pub(super) mod args;
mod list;
pub(super) mod range;

use self::args::{Card, Format};
use self::range::MOST;
use super::{Exit, say};
use std::collections::HashMap;
use std::path::Path;
use variegauge::card::layout::{CARD, Layout, POT_LABEL};
use variegauge::error::Error;
use variegauge::print::card::{Label, printed};
use variegauge::print::draw::Page;
use variegauge::print::sheet::{self, Paper};
use variegauge::print::{pdf, svg};
use variegauge::report::file;
use variegauge::report::file::Inputs;

/// Runs the command.
pub(super) fn run(args: &Card) -> Exit {
    let (labels, repeated) = match labels(args) {
        Ok(labels) => labels,
        Err(text) => return wrong(&say::safe(&text)),
    };
    let layout = if args.label { &POT_LABEL } else { &CARD };
    let pages = sheet::pages(layout, &labels, args.paper());
    let files = args.output.files(pages.len());
    if let Some(there) = files.iter().find(|file| !args.force && file.exists()) {
        say::error(&say::safe(&format!("cannot write {}: it exists already", there.display())));
        say::hint("choose another name, or overwrite with --force");
        return Exit::Output;
    }
    let inputs = Inputs::new(args.plants.as_deref().into_iter());
    if let Some(error) = files.iter().find_map(|file| inputs.keep(file).err()) {
        say::error(&error.to_string());
        return Exit::Output;
    }
    warn(layout, &labels, &repeated);
    let title = title(&labels);
    for (file, pages) in files.iter().zip(sheets(&pages, args.output.format)) {
        if let Err(error) = write(file, pages, &title, args.output.format) {
            say::error(&error.to_string());
            say::remedy(&error).into_iter().for_each(say::hint);
            return Exit::Output;
        }
    }
    say::line(&say::safe(&told(
        args,
        (labels.len(), pages.len()),
        files.iter().map(|file| file.display().to_string()),
    )));
    Exit::Graded
}

fn wrong(text: &str) -> Exit {
    say::error(text);
    say::hint("variegauge card --help shows examples");
    Exit::Usage
}

/// The cards to print, each number once, and the numbers that were given more than once.
fn labels(args: &Card) -> Result<(Vec<Label>, Vec<String>), String> {
    let numbers = args.numbers.iter().flat_map(|numbers| &numbers.0);
    let name = args.name.as_deref().map(str::trim).filter(|name| !name.is_empty()).map(String::from);
    let mut all: Vec<Label> = numbers.map(|number| Label { number: number.clone(), name: name.clone() }).collect();
    if let Some(path) = &args.plants {
        let listed = list::read(path)?;
        if listed.is_empty() {
            return Err(format!("--plants {}: no plant in it", path.display()));
        }
        all.extend(listed);
    }
    let (labels, repeated) = once(all);
    if labels.len() > MOST {
        return Err(format!("{} cards are more than {MOST}; print fewer at a time", labels.len()));
    }
    Ok((labels, repeated))
}

/// Each number once, where it came first; a name that comes later is taken if the first had none.
fn once(all: Vec<Label>) -> (Vec<Label>, Vec<String>) {
    let mut places = HashMap::new();
    let (mut labels, mut repeated): (Vec<Label>, Vec<String>) = (Vec::new(), Vec::new());
    for label in all {
        let place = *places.entry(label.number.clone()).or_insert(labels.len());
        match labels.get_mut(place) {
            None => labels.push(label),
            Some(first) => {
                let number = label.number.to_string();
                first.name = first.name.take().or(label.name);
                if !repeated.contains(&number) {
                    repeated.push(number);
                }
            }
        }
    }
    (labels, repeated)
}

/// Says what will not be on the cards.
fn warn(layout: &Layout, labels: &[Label], repeated: &[String]) {
    if !repeated.is_empty() {
        say::warning(&format!("given more than once, printed once: {}", repeated.join(", ")));
    }
    for (label, name) in labels.iter().filter_map(|label| Some((label, label.name.as_ref()?))) {
        let printed = printed(layout, name);
        if !printed.missing.is_empty() {
            let missing = say::safe(&printed.missing);
            say::warning(&format!(
                "{}: letters of the name that cannot be printed are left out: {missing}",
                label.number
            ));
        }
        if printed.cut {
            say::warning(&format!("{}: the name is too long and ends as {}", label.number, say::safe(&printed.text)));
        }
    }
}

fn title(labels: &[Label]) -> String {
    match labels {
        [] => String::new(),
        [one] => one.title(),
        [first, .., last] => format!("Label cards {} to {}", first.number, last.number),
    }
}

/// Pages that go into one file.
fn sheets(pages: &[Page], format: Format) -> impl Iterator<Item = &[Page]> {
    pages.chunks(match format {
        Format::Pdf => pages.len().max(1),
        Format::Svg => 1,
    })
}

fn write(path: &Path, pages: &[Page], title: &str, format: Format) -> Result<(), Error> {
    file::write(path, |out| match format {
        Format::Pdf => pdf::write(pages, &[], title, out),
        Format::Svg => pages.iter().try_for_each(|page| svg::write(page, title, out)),
    })
}

/// What was written and what to do with it.
fn told(args: &Card, (cards, pages): (usize, usize), mut files: impl ExactSizeIterator<Item = String>) -> String {
    let many = |n: usize, what: &str| format!("{n} {what}{}", if n == 1 { "" } else { "s" });
    let first = files.next().unwrap_or_default();
    let names = files.last().map_or(first.clone(), |last| format!("{first} to {last}"));
    let cards = many(cards, if args.label { "pot label" } else { "card" });
    let sheets = |paper: &str| format!("{cards} on {} ({paper})", many(pages, "sheet"));
    let (what, check) = match args.paper() {
        Paper::A4 => (sheets("A4"), "check the 50 mm line"),
        Paper::Letter => (sheets("Letter"), "check the 50 mm line"),
        Paper::Single if args.label => (format!("{cards}, one a page"), "check that the label fills its 50 x 25 mm"),
        Paper::Single => (format!("{cards}, one a page"), "check that the rule is 50 mm long"),
    };
    format!("wrote {names}: {what}. Print at 100 %, not 'fit to page', and {check}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn label(number: &str, name: Option<&str>) -> Label {
        Label { number: number.parse().unwrap(), name: name.map(String::from) }
    }

    #[test]
    fn a_number_given_twice_is_printed_once_with_the_first_name_there_is() {
        let all = vec![
            label("B", None),
            label("A", Some("x")),
            label("B", Some("y")),
            label("A", Some("z")),
            label("B", None),
        ];
        let (labels, repeated) = once(all);
        assert_eq!(labels, [label("B", Some("y")), label("A", Some("x"))]);
        assert_eq!(repeated, ["B", "A"]);
    }

    #[test]
    fn a_title_tells_the_plant_or_from_where_to_where() {
        assert_eq!(title(&[label("A-1", Some("Zebra"))]), "A-1 Zebra");
        assert_eq!(title(&[label("A-1", None), label("A-2", None), label("A-3", None)]), "Label cards A-1 to A-3");
    }
}
