//! Days of the calendar.

use std::fmt;
use std::str::FromStr;

/// A day of the Gregorian calendar, counted from 1970-01-01.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date(i32);

/// A text that is no date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a date is a day of the years 1900 to 9999, written 2026-01-31")]
pub struct NotADate;

impl Date {
    /// The day that lies so many days after 1970-01-01.
    pub fn from_days(days: i32) -> Self {
        Self(days)
    }

    /// Days since 1970-01-01.
    pub fn days(self) -> i32 {
        self.0
    }

    /// Days from `earlier` to this day.
    pub fn since(self, earlier: Self) -> f64 {
        f64::from(self.0 - earlier.0)
    }

    /// The day of a time in ISO 8601, whose first ten characters it is.
    pub fn of_time(time: &str) -> Option<Self> {
        time.get(..10)?.parse().ok()
    }

    /// Year, month and day (the inverse of [`days`]: H. Hinnant, "chrono-compatible low-level date algorithms", 2013).
    fn civil(self) -> (i32, i32, i32) {
        let shifted = self.0 + 719_468;
        let era = shifted.div_euclid(146_097);
        let day_of_era = shifted.rem_euclid(146_097);
        let year = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year + year / 4 - year / 100);
        let from_march = (5 * day_of_year + 2) / 153;
        let month = if from_march < 10 { from_march + 3 } else { from_march - 9 };
        let day = day_of_year - (153 * from_march + 2) / 5 + 1;
        (era * 400 + year + i32::from(month <= 2), month, day)
    }
}

/// Days from 1970-01-01 to a day, which need not be one of its month (Hinnant 2013).
fn days(year: i32, month: i32, day: i32) -> i32 {
    let year = year - i32::from(month <= 2);
    let year_of_era = year.rem_euclid(400);
    let from_march = (month + 9) % 12;
    let day_of_year = (153 * from_march + 2) / 5 + day - 1;
    let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    year.div_euclid(400) * 146_097 + day_of_era - 719_468
}

impl FromStr for Date {
    type Err = NotADate;

    fn from_str(text: &str) -> Result<Self, NotADate> {
        let parts: Vec<&str> = text.split('-').collect();
        let number = |place: usize, digits: usize| {
            let part = parts.get(place).filter(|part| part.len() == digits)?;
            part.bytes().all(|byte| byte.is_ascii_digit()).then(|| part.parse().ok())?
        };
        let read = || Some((number(0, 4)?, number(1, 2)?, number(2, 2)?));
        let (year, month, day) = read().filter(|_| parts.len() == 3).ok_or(NotADate)?;
        let date = Self(days(year, month, day));
        // A 30th of February comes back as another day.
        if (1900..=9999).contains(&year) && (1..=12).contains(&month) && date.civil() == (year, month, day) {
            Ok(date)
        } else {
            Err(NotADate)
        }
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        let (year, month, day) = self.civil();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_days_are_counted_and_come_back() {
        for (text, days) in [("1970-01-01", 0), ("2000-02-29", 11_016), ("2026-01-31", 20_484), ("1900-03-01", -25_508)]
        {
            let date: Date = text.parse().unwrap();
            assert_eq!((date.days(), date.to_string().as_str()), (days, text));
        }
        for days in (-25_000..40_000).step_by(13) {
            assert_eq!(Date::from_days(days).to_string().parse(), Ok(Date::from_days(days)));
        }
    }

    #[test]
    fn what_is_no_day_is_refused() {
        for text in [
            "",
            "2026-1-31",
            "2026-02-30",
            "2025-02-29",
            "31.1.2026",
            "2026-13-01",
            "0000-01-01",
            "2026-01-31T",
            "+026-01-01",
        ] {
            assert_eq!(text.parse::<Date>(), Err(NotADate), "{text}");
        }
        assert_eq!(Date::of_time("2026-01-31T09:15:00"), Some(Date::from_days(20_484)));
        assert_eq!(Date::of_time("soon"), None);
    }
}
