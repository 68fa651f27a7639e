//! The only place that reads the clock.

use chrono::{DateTime, FixedOffset, Local, NaiveDate};

/// Now, with the offset of this place.
#[must_use]
pub fn now() -> DateTime<FixedOffset> {
    Local::now().fixed_offset()
}

/// Today, at this place.
#[must_use]
pub fn today() -> NaiveDate {
    now().date_naive()
}
