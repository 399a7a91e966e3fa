//! The program as it is installed, started on a demo shop of its own.

use borewright::db::cluster::ServerSocket;
use sqlx::{Connection, PgConnection};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// The running program; it is stopped when this goes.
pub struct Service {
    child: Child,
    /// Where it answers.
    pub address: String,
    data: TempDir,
}

impl Drop for Service {
    fn drop(&mut self) {
        let asked = Command::new("kill")
            .arg(self.child.id().to_string())
            .status();
        if asked.is_ok() {
            let _ = self.child.wait();
        }
    }
}

impl Service {
    /// Starts it and waits until it can answer.
    pub async fn demo(arguments: &[&str]) -> Self {
        let data = tempfile::tempdir().unwrap();
        let port = std::net::TcpListener::bind("127.0.0.1:0")
            .unwrap()
            .local_addr()
            .unwrap()
            .port();
        let child = Command::new(env!("CARGO_BIN_EXE_borewright"))
            .args(["demo", "--port", &port.to_string(), "--data-dir"])
            .arg(data.path())
            .args(arguments)
            .env_remove("DATABASE_URL")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let service = Self {
            child,
            address: format!("http://127.0.0.1:{port}"),
            data,
        };
        let began = Instant::now();
        while !reqwest::get(service.page("/health/ready"))
            .await
            .is_ok_and(|a| a.status().is_success())
        {
            assert!(
                began.elapsed() < Duration::from_secs(180),
                "the service does not start"
            );
            tokio::time::sleep(Duration::from_millis(200)).await;
        }
        service
    }

    /// The address of a path.
    pub fn page(&self, path: &str) -> String {
        format!("{}{path}", self.address)
    }

    /// Its private database server.
    pub fn server(&self) -> ServerSocket {
        ServerSocket::of_running(self.data.path()).unwrap()
    }

    /// A connection of the owner of its database.
    pub async fn owner(&self) -> PgConnection {
        PgConnection::connect_with(&self.server().owner_options("borewright"))
            .await
            .unwrap()
    }

    /// Its key among the processes.
    #[allow(dead_code, reason = "one of the benchmarks asks for it")]
    pub fn id(&self) -> u32 {
        self.child.id()
    }
}
