//! What the private server says, in our own log: at the level it deserves, told by its SQLSTATE.
//!
//! Each line begins with the SQLSTATE of its event (`log_line_prefix`), then `LOG:`, `FATAL:` and so on (PostgreSQL
//! manual, 19.8 Error Reporting and Logging). Statements that the service has refused are its own business and stay at
//! debug: they may hold what people typed. What concerns the server itself is news.

use std::io::{BufRead, BufReader};
use std::process::Child;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use tracing::Level;

/// The log of a running server.
#[derive(Debug)]
pub(super) struct ServerLog {
    news: Arc<AtomicBool>,
}

impl ServerLog {
    /// Passes the server's words on to our log, and to the receiver for as long as there is one. `news` says whether
    /// its ordinary words are worth a line from the start.
    pub(super) fn follow(shell: &mut Child, news: bool) -> (Self, Receiver<String>) {
        let (send, receive) = channel();
        let news = Arc::new(AtomicBool::new(news));
        let log = Self { news: news.clone() };
        if let Some(stderr) = shell.stderr.take() {
            std::thread::spawn(move || {
                for line in BufReader::new(stderr).lines().map_while(Result::ok) {
                    pass_on(&line, news.load(Ordering::Relaxed));
                    // Nobody listens any more once the server is ready.
                    let _ = send.send(line);
                }
            });
        }
        (log, receive)
    }

    /// Whether the server's ordinary words are worth a line: not at an orderly start and stop.
    pub(super) fn is_news(&self, news: bool) {
        self.news.store(news, Ordering::Relaxed);
    }
}

fn pass_on(line: &str, news: bool) {
    match level(line, news) {
        Level::ERROR => tracing::error!(target: "postgres", "{line}"),
        Level::WARN => tracing::warn!(target: "postgres", "{line}"),
        Level::INFO => tracing::info!(target: "postgres", "{line}"),
        _ => tracing::debug!(target: "postgres", "{line}"),
    }
}

/// The level of a line. Classes of SQLSTATE: 53 insufficient resources, 58 system error, XX internal error, 57P
/// operator intervention, in which 57P03 is a client that came too early (PostgreSQL manual, appendix A).
fn level(line: &str, news: bool) -> Level {
    let Some((state, rest)) = line.split_once(' ') else {
        return Level::DEBUG;
    };
    let of_server = ["53", "58", "XX"]
        .iter()
        .any(|class| state.starts_with(class));
    match rest.split_once(':').map_or("", |(kind, _)| kind) {
        "PANIC" => Level::ERROR,
        _ if of_server => Level::ERROR,
        "FATAL" if state == "57P03" => Level::DEBUG,
        "FATAL" if state.starts_with("57P") && !news => Level::DEBUG,
        "FATAL" => Level::ERROR,
        "WARNING" => Level::WARN,
        "LOG" | "HINT" | "DETAIL" if state == "00000" && news => Level::INFO,
        _ => Level::DEBUG,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_concerns_the_server_is_news_and_what_people_typed_is_not() {
        let is = |line| level(line, true);
        assert_eq!(
            is("00000 LOG:  database system was interrupted"),
            Level::INFO
        );
        assert_eq!(
            is("53100 ERROR:  could not extend file \"base/1/2\": No space left on device"),
            Level::ERROR
        );
        assert_eq!(is("53100 HINT:  Check free disk space."), Level::ERROR);
        assert_eq!(is("XX000 PANIC:  could not write to file"), Level::ERROR);
        assert_eq!(
            is("57P03 FATAL:  the database system is starting up"),
            Level::DEBUG
        );
        assert_eq!(
            is("23505 ERROR:  duplicate key value violates"),
            Level::DEBUG
        );
        assert_eq!(is("23505 STATEMENT:  insert into person"), Level::DEBUG);
        assert_eq!(is("\tand the rest of a statement"), Level::DEBUG);
        assert_eq!(level("00000 LOG:  shutting down", false), Level::DEBUG);
    }
}
