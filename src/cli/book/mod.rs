//! `variegauge book`: the stock book.

pub(super) mod args;
mod transfer;

use self::args::{Book, Said, Task};
use super::card;
use super::card::range::Numbers;
use super::place::today;
use super::{Exit, say};
use std::io::{self, ErrorKind, Write};
use variegauge::base::date::Date;
use variegauge::book;
use variegauge::book::decisions::Decision;
use variegauge::book::family::Change;
use variegauge::book::plants::Plant;
use variegauge::card::number::PlantNumber;
use variegauge::error::{Error, Result};
use variegauge::mothers::YEAR;
use variegauge::report::stock;

/// Runs the command.
pub(super) fn run(args: &Book) -> Exit {
    done(args).unwrap_or_else(|error| say::failed(&error))
}

fn done(args: &Book) -> Result<Exit> {
    let place = &args.book;
    match &args.task {
        Task::Add { numbers, name, mother, since, notes } => {
            near(*since)?;
            let plant = |number: PlantNumber| Plant {
                name: name.clone(),
                mother: mother.clone(),
                since: *since,
                notes: notes.clone(),
                ..Plant::new(number)
            };
            let plants: Vec<Plant> = all(numbers).into_iter().map(plant).collect();
            place.open_or_make()?.add(&plants)?;
            say::line(&format!("added {}", many(plants.len(), "plant")));
        }
        Task::Change { number, name, mother, since, notes } => {
            near(*since)?;
            let change = Change { name: name.clone(), mother: mother.clone(), since: *since, notes: notes.clone() };
            place.open()?.change(number, &change)?;
            say::line(&format!("{number} changed"));
        }
        Task::Divide { mother, offsets, name, on, cards } => {
            near(*on)?;
            cards.as_ref().map_or(Ok(()), card::args::Target::free)?;
            let (offsets, on) = (all(offsets), day(*on));
            let plants = place.open()?.divide(mother, &offsets, on, name.as_deref())?;
            say::line(&format!("{mother} parted on {on}: {} added", many(plants.len(), "offset")));
            if let (Some(cards), Some(first)) = (cards, plants.first()) {
                let name = Some(first.name.clone()).filter(|name| !name.is_empty());
                return Ok(card::run(&card::args::Card::of(offsets, name, cards.clone())));
            }
        }
        Task::MoveOut { numbers, how, on } => {
            let numbers = all(numbers);
            place.open()?.move_out(&numbers, day(*on), (*how).into())?;
            say::line(&format!("{} moved out", many(numbers.len(), "plant")));
        }
        Task::Decide { number, decision, said } => decide(&mut place.open()?, number, decision, said)?,
        Task::Assign { reading, number, said } => {
            place.open()?.assign(*reading, number.as_ref(), (day(said.on), &said.by, &said.why))?;
            let owner = number.as_ref().map_or("no plant of the book".into(), ToString::to_string);
            say::line(&format!("reading {reading} is of {owner}"));
        }
        Task::Import { file } => transfer::import(place, file)?,
        Task::Export { file, what, force } => transfer::export(&place.open()?, file, *what, *force)?,
        Task::Backup { file } => {
            place.open()?.back_up(file)?;
            say::line(&say::safe(&format!("wrote {}", file.display())));
        }
        Task::List { unassigned: true, .. } => return print(&stock::unassigned(&place.open()?.without_plant()?)),
        Task::List { gone, .. } => return print(&stock::list(&place.open()?.list(*gone)?)),
        Task::Search { text } => return print(&stock::list(&place.open()?.search(text)?)),
        Task::Show { number } => return show(&place.open()?, number),
        Task::Check => return check(&place.open()?),
    }
    Ok(Exit::Graded)
}

fn show(book: &book::Book, number: &PlantNumber) -> Result<Exit> {
    print(&stock::show(&book.show(number)?, &book.history(number)?, &book.decisions(number)?))
}

fn check(book: &book::Book) -> Result<Exit> {
    let (size, wrong) = (book.size()?, book.check()?);
    if let [first, ..] = wrong.as_slice() {
        let reason = format!("is damaged: {first}; go on with a backup");
        return Err(Error::Book { path: book.path().display().to_string(), reason });
    }
    let told = format!(
        "the stock book {} is sound: {}, {}, {}\n",
        book.path().display(),
        many(size.plants, "plant"),
        many(size.photos, "photo"),
        many(size.readings, "reading")
    );
    print(&told)
}

fn decide(book: &mut book::Book, number: &PlantNumber, word: &str, said: &Said) -> Result<()> {
    let Said { by, why, on } = said;
    let decision = Decision { word: word.into(), on: day(*on), who: by.clone(), why: why.clone() };
    book.decide(number, &decision)?;
    let advised = book.show(number)?.latest.and_then(|latest| latest.decision);
    let advised = advised.map_or(String::new(), |advised| format!("; the standard advised {advised}"));
    say::line(&format!("{number}: {word}{advised}"));
    Ok(())
}

/// Prints data on the standard output; a reader that has seen enough is no error.
pub(super) fn print(text: &str) -> Result<Exit> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(source) if source.kind() != ErrorKind::BrokenPipe => {
            Err(Error::Write { path: "the standard output".into(), source })
        }
        _ => Ok(Exit::Graded),
    }
}

fn all(numbers: &[Numbers]) -> Vec<PlantNumber> {
    numbers.iter().flat_map(|numbers| numbers.0.iter().cloned()).collect()
}

/// Refuses a day more than a year ahead: a slip.
fn near(since: Option<Date>) -> Result<()> {
    match since.filter(|since| since.since(today()) > YEAR) {
        Some(since) => Err(Error::Entry(format!("{since} is more than a year ahead"))),
        None => Ok(()),
    }
}

fn day(on: Option<Date>) -> Date {
    on.unwrap_or_else(today)
}

fn many(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}
