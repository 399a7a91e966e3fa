//! Working time in and out of other people's calendars, as iCalendar text (RFC 5545): the week as a [`feed`] that a
//! telephone can subscribe to, and public [`holidays`] read from a file.

pub mod feed;
pub mod holidays;
