//! PostgreSQL: the only SQL. One file for each group of tables; the shop is set once per transaction, in [`scope`].

pub mod access;
pub mod aftercare;
pub mod answers;
pub mod api_requests;
pub mod api_tokens;
pub mod attempts;
pub mod backup;
pub mod bookings;
pub mod calendars;
pub mod casting_records;
pub mod castings;
pub mod castings_on_shelf;
pub mod checks;
pub mod cluster;
mod cluster_error;
mod cluster_log;
pub mod clusters;
pub mod counters;
pub mod crack_repairs;
pub mod customer_links;
pub mod customers;
pub mod cutting;
pub mod decided_quotes;
pub mod decisions;
pub mod devices;
pub mod enquiries;
pub mod evidence;
pub mod feeds;
pub mod floor;
pub mod history;
pub mod holds;
pub mod imports;
pub mod job_changes;
pub mod job_list;
pub mod job_route;
pub mod jobs;
mod like;
pub mod lists;
pub mod machines;
pub mod major_upgrade;
pub mod measured_records;
pub mod migrate;
pub mod move_shop;
pub mod needs;
pub mod order_of_work;
pub mod other_ways;
pub mod past;
pub mod past_work;
pub mod people;
pub mod plan_changes;
pub mod planner_queue;
pub mod plans;
pub mod pressed;
mod programs;
pub mod quick_work;
pub mod quotes;
mod read;
pub mod readiness;
pub mod refusal;
pub mod related_patterns;
pub mod remedy_rules;
pub mod review;
mod rows;
pub mod scope;
pub mod search;
pub mod second_factor;
pub mod sessions;
pub mod settings;
pub mod shops;
pub mod sightings;
pub mod standards;
pub mod stock;
pub mod supplies;
pub mod today;
pub mod tools;
pub mod watch;
pub mod work_list;
pub mod work_templates;

pub use refusal::{Needed, Refusal, Unique};
pub use scope::{Scope, ShopTx};

/// What can go wrong in the database.
#[derive(Debug, thiserror::Error)]
pub enum DbError {
    /// No such row in this shop.
    #[error("{0} was not found")]
    NotFound(&'static str),
    /// Someone else changed it meanwhile; the caller shows both values.
    #[error("someone else changed {0}")]
    Stale(&'static str),
    /// Something like it exists already.
    #[error(transparent)]
    Duplicate(Unique),
    /// Something else still needs it.
    #[error(transparent)]
    InUse(#[from] Needed),
    /// It has come too far, or not far enough, for what was asked of it.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// A stored value that no longer parses.
    #[error("stored {what} does not read: {why}")]
    Corrupt {
        /// Which value.
        what: &'static str,
        /// Why.
        why: String,
    },
    /// The database itself.
    #[error(transparent)]
    Database(#[from] sqlx::Error),
    /// The connection was lost while a transaction was to be made to last, so that nobody knows whether it was.
    #[error("whether it was saved is not known: {0}")]
    Unsure(sqlx::Error),
}

impl DbError {
    /// Whether PostgreSQL refuses the values themselves, however often they are sent: a data exception (class 22), or a
    /// key, check or missing value of the table (class 23). A unique key is left out: the same row may be arriving twice
    /// at once.
    #[must_use]
    pub fn is_about_the_values(&self) -> bool {
        let Self::Database(error) = self else {
            return false;
        };
        error.as_database_error().is_some_and(|error| {
            let class = error.code().unwrap_or_default();
            (class.starts_with("22") || class.starts_with("23")) && !error.is_unique_violation()
        })
    }

    /// Whether the same may well succeed in a moment: the server is away, starting, full, busy or only reading just now,
    /// or two transactions stood in each other's way. Classes of SQLSTATE: 08 connection, 25006 a server that only
    /// reads, 40 transaction rollback, 53 insufficient resources, 55P03 a lock that was not had, 57 operator
    /// intervention, 58 system error (PostgreSQL manual, appendix A).
    #[must_use]
    pub fn is_passing(&self) -> bool {
        let (Self::Database(error) | Self::Unsure(error)) = self else {
            return false;
        };
        match error {
            sqlx::Error::Io(_)
            | sqlx::Error::Tls(_)
            | sqlx::Error::PoolTimedOut
            | sqlx::Error::PoolClosed
            | sqlx::Error::WorkerCrashed => true,
            sqlx::Error::Database(error) => {
                let code = error.code().unwrap_or_default();
                ["08", "25006", "40", "53", "55P03", "57", "58"]
                    .iter()
                    .any(|class| code.starts_with(class))
            }
            _ => false,
        }
    }

    /// Whether the server could not write: no room on its disk (53100), an error of the disk (58030), or it only reads
    /// (25006).
    #[must_use]
    pub fn is_out_of_room(&self) -> bool {
        let (Self::Database(error) | Self::Unsure(error)) = self else {
            return false;
        };
        error
            .as_database_error()
            .and_then(|error| error.code())
            .is_some_and(|code| ["53100", "58030", "25006"].contains(&code.as_ref()))
    }
}
