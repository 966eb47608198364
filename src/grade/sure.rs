//! How sure it is that a number lies beyond a limit.

use crate::base::stats::Interval;

/// How sure a flag or a decision is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sure {
    /// Half the way from the value to the end of its interval lies beyond the limit: about one chance in six.
    Borderline,
    /// The value lies beyond the limit.
    Likely,
    /// The whole interval does.
    Certain,
}

impl Sure {
    /// As a word.
    pub fn name(self) -> &'static str {
        match self {
            Self::Borderline => "borderline",
            Self::Likely => "likely",
            Self::Certain => "certain",
        }
    }

    /// Whether the number lies under the limit; `None`: it does not.
    pub(super) fn under(number: Interval, limit: f64) -> Option<Self> {
        match number {
            n if n.high < limit => Some(Self::Certain),
            n if n.value < limit => Some(Self::Likely),
            n if f64::midpoint(n.value, n.low) < limit => Some(Self::Borderline),
            _ => None,
        }
    }

    /// Whether the number lies at the limit or over it.
    pub(super) fn from(number: Interval, limit: f64) -> Option<Self> {
        match number {
            n if n.low >= limit => Some(Self::Certain),
            n if n.value >= limit => Some(Self::Likely),
            n if f64::midpoint(n.value, n.high) >= limit => Some(Self::Borderline),
            _ => None,
        }
    }
}
