//! `variegauge season` and `variegauge growth`.

use super::book::print;
use super::family::standard;
use super::place::Place;
use super::{Exit, say};
use std::fs;
use std::path::{Path, PathBuf};
use variegauge::base::stats::Interval;
use variegauge::book::readings::Reading;
use variegauge::card::number::PlantNumber;
use variegauge::error::{Error, Result};
use variegauge::report::file::Inputs;
use variegauge::report::season::Weather;
use variegauge::report::{chart, file, raster, season as report};
use variegauge::season::growth::{by_green, growth as growth_of};
use variegauge::season::points::repeatability;
use variegauge::season::season as season_of;

pub(super) const ABOUT: &str = "Tells from the stock book how plants redden and recover: red share of the leaf and hue of the green tissue \
    over time, with 95 % ranges, onset, peak and recovery, slope and test for a trend. Which pigment it is, and how it goes on, is \
    not known.";

pub(super) const EXAMPLES: &str = "\
Examples:
  variegauge season ZB-0042                              a plant's reddening, in words
  variegauge season ZB-0042 ZB-0043 --svg red.svg        two, with a chart
  variegauge season ZB-0042 --png red.png --temperatures t.csv    with the weather beside it";

pub(super) const GROWTH: &str = "\
Examples:
  variegauge growth                                      all plants of the usual book
  variegauge growth ZB-0042 ZB-0043                      two of them";

/// `variegauge season`.
#[derive(Debug, clap::Args)]
#[group(skip)]
#[command(group = clap::ArgGroup::new("chart").multiple(true))]
pub(super) struct Season {
    /// The plants
    #[arg(value_name = "PLANT", required = true)]
    numbers: Vec<PlantNumber>,

    /// A chart, SVG
    #[arg(long, value_name = "FILE", group = "chart")]
    svg: Option<PathBuf>,

    /// The same, PNG
    #[arg(long, value_name = "FILE", group = "chart")]
    png: Option<PathBuf>,

    /// The points, a table for spreadsheets
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,

    /// Temperatures to draw beside: a table of `date,min,max`, degrees Celsius
    #[arg(long, value_name = "FILE", requires = "chart")]
    temperatures: Option<PathBuf>,

    /// Limit of dead leaf [default: the shipped standard]
    #[arg(long, value_name = "FILE")]
    standard: Option<PathBuf>,

    /// The stock book [default: the user's own]
    #[arg(long, value_name = "FILE", default_value = "default", hide_default_value = true)]
    book: Place,
}

/// `variegauge growth`.
#[derive(Debug, clap::Args)]
pub(super) struct Growth {
    /// The plants [default: all of the book]
    #[arg(value_name = "PLANT")]
    numbers: Vec<PlantNumber>,

    /// The stock book [default: the user's own]
    #[arg(long, value_name = "FILE", default_value = "default", hide_default_value = true)]
    book: Place,
}

/// Runs `season`.
pub(super) fn season(args: &Season) -> Exit {
    told(args).unwrap_or_else(|error| say::failed(&error))
}

fn told(args: &Season) -> Result<Exit> {
    let (standard, book) = (standard(args.standard.as_ref())?, args.book.open()?);
    let weather = args.temperatures.as_deref().map(temperatures).transpose()?.unwrap_or_default();
    let (mut plants, mut text) = (Vec::new(), String::new());
    for number in &args.numbers {
        let (readings, number) = (book.history(number)?, number.to_string());
        let season = season_of(&readings, &standard);
        let spread = |of: fn(&Reading) -> Option<Interval>| repeatability(&readings, of);
        text += &report::words(&number, &season);
        text += &report::repeatability(&number, spread(|r| r.red), spread(|r| r.green_hue)).unwrap_or_default();
        plants.push((number, season));
    }
    let inputs = Inputs::new([&args.temperatures, &args.standard].into_iter().flatten().map(PathBuf::as_path));
    let outputs = [&args.csv, &args.svg, &args.png];
    outputs.into_iter().flatten().try_for_each(|path| inputs.keep(path))?;
    if let Some(path) = &args.csv {
        file::write(path, |out| report::csv(&plants, out))?;
    }
    let mut drawing = Vec::new();
    chart::write("Season", &report::panels(&plants, &weather), &mut drawing).expect("memory takes a drawing");
    if let Some(path) = &args.svg {
        file::write(path, |out| out.write_all(&drawing))?;
    }
    if let Some(path) = &args.png {
        file::write(path, |out| raster::png(&drawing, out))?;
    }
    for path in outputs.into_iter().flatten() {
        say::line(&say::safe(&format!("wrote {}", path.display())));
    }
    print(&text)
}

/// Reads `date,min,max`.
fn temperatures(path: &Path) -> Result<Vec<Weather>> {
    let wrong = |reason: &str| Error::Entry(format!("--temperatures {}: {reason}", path.display()));
    let text = fs::read_to_string(path).map_err(|error| wrong(&error.to_string()))?;
    let mut table = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let mut weather = Vec::new();
    for (line, row) in (2..).zip(table.records()) {
        let day = row.ok().and_then(|row| {
            let cell = |place: usize| row.get(place).map(str::trim);
            let degrees = |place: usize| cell(place)?.parse::<f64>().ok().filter(|degrees| degrees.abs() < 100.0);
            Some(Weather { day: cell(0)?.parse().ok()?, min: degrees(1)?, max: degrees(2)? })
        });
        weather.push(day.ok_or_else(|| wrong(&format!("line {line} is not `date,min,max`, e.g. 2026-01-31,-2.5,7")))?);
    }
    Ok(weather)
}

/// Runs `growth`.
pub(super) fn growth(args: &Growth) -> Exit {
    let told = || {
        let book = args.book.open()?;
        let mut readings = Vec::new();
        for number in &args.numbers {
            readings.extend(book.history(number)?);
        }
        if args.numbers.is_empty() {
            readings = book.all_readings()?;
        }
        let plants: Vec<_> = readings
            .chunk_by(|a, b| a.plant == b.plant)
            .filter_map(|of| Some((of.first()?.plant.as_ref()?.to_string(), growth_of(of)?)))
            .collect();
        let all: Vec<_> = plants.iter().map(|(_, growth)| growth.clone()).collect();
        print(&report::growth(&plants, by_green(&all).as_ref()))
    };
    told().unwrap_or_else(|error| say::failed(&error))
}
