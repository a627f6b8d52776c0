//! The real daemon as its own process.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use crate::http::Http;
use crate::wait::eventually;

/// How the daemon is started.
#[derive(Debug, Clone, Default)]
pub struct DaemonOptions {
    /// Arguments besides those for folder and addresses.
    pub args: Vec<String>,
    /// Environment variables besides those of the test.
    pub env: Vec<(String, String)>,
    /// An external broker in place of the embedded one.
    pub broker: Option<String>,
    /// The HTTP address; a free port of loopback unless named.
    pub http: Option<String>,
    /// The embedded broker's address; a free port of loopback unless named.
    pub mqtt: Option<String>,
    /// Whether every request has to show a token.
    pub closed: bool,
}

/// A running daemon. It is killed when this is dropped.
#[derive(Debug)]
pub struct Daemon {
    child: Child,
    program: PathBuf,
    options: DaemonOptions,
    data: PathBuf,
    _folder: Option<TempDir>,
    /// Where HTTP answers, such as `http://127.0.0.1:40123`.
    pub url: String,
    /// Where the broker listens.
    pub mqtt: (String, u16),
}

impl Daemon {
    /// Starts the daemon on a fresh folder.
    ///
    /// # Panics
    /// When it does not become ready; so for all that follow.
    #[must_use]
    pub fn start(program: &str, options: DaemonOptions) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let data = folder.path().join("data");
        Self::start_in(program, options, data, Some(folder))
    }

    /// Starts the daemon on a folder that stays.
    #[must_use]
    pub fn start_on(program: &str, options: DaemonOptions, data: &Path) -> Self {
        Self::start_in(program, options, data.to_owned(), None)
    }

    fn start_in(program: &str, options: DaemonOptions, data: PathBuf, folder: Option<TempDir>) -> Self {
        let (child, url, mqtt) = spawn(Path::new(program), &options, &data);
        Self { child, program: program.into(), options, data, _folder: folder, url, mqtt }
    }

    /// A client of its HTTP API.
    #[must_use]
    pub fn http(&self) -> Http {
        Http::new(&self.url, None)
    }

    /// Its data folder.
    #[must_use]
    pub fn data(&self) -> &Path {
        &self.data
    }

    /// Its process id.
    #[must_use]
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Ends it as a power cut would: SIGKILL.
    pub fn kill(&mut self) {
        self.child.kill().expect("kill");
        self.child.wait().expect("wait");
    }

    /// Asks it to stop (SIGTERM) and gives its exit code.
    pub fn stop(&mut self) -> i32 {
        let status = Command::new("kill").arg(self.child.id().to_string()).status().expect("kill");
        assert!(status.success());
        self.child.wait().expect("wait").code().expect("it stopped by itself")
    }

    /// Starts it again on the same folder, on the same addresses unless they were not named.
    pub fn restart(&mut self) {
        let (child, url, mqtt) = spawn(&self.program, &self.options, &self.data);
        (self.child, self.url, self.mqtt) = (child, url, mqtt);
    }

    /// Keeps the addresses of now for the next start, as a daemon in a cupboard would.
    pub fn keep_addresses(&mut self) {
        self.options.http = Some(self.url.trim_start_matches("http://").to_owned());
        if self.options.broker.is_none() {
            self.options.mqtt = Some(format!("{}:{}", self.mqtt.0, self.mqtt.1));
        }
    }

    /// What it has logged so far.
    #[must_use]
    pub fn log(&self) -> String {
        std::fs::read_to_string(log_path(&self.data)).unwrap_or_default()
    }

    /// Makes a fixture of kind strip.
    pub fn add(&self, id: &str) {
        let answer = self.http().post("/v1/fixtures", &serde_json::json!({"id": id, "title": id, "kind": "strip"}));
        assert_eq!(answer.status, 201, "{answer:?}");
    }

    /// Enrols a fixture; gives its secret.
    #[must_use]
    pub fn enrol(&self, id: &str) -> String {
        let answer = self.http().post(&format!("/v1/fixtures/{id}/enrol"), &serde_json::json!({}));
        assert!(answer.is_ok(), "{answer:?}");
        answer.json["secret"].as_str().expect("a secret").to_owned()
    }

    /// Waits until everything that was committed is published and acknowledged: the outbox table is empty.
    pub fn wait_for_empty_outbox(&self) {
        eventually("an empty outbox", || (self.outbox_rows() == Some(0)).then_some(()));
    }

    /// Waits until that many fixtures wait in the outbox.
    pub fn wait_for_outbox(&self, rows: usize) {
        eventually("rows in the outbox", || (self.outbox_rows() == Some(rows)).then_some(()));
    }

    /// Waits until the tables of documents and of the outbox have followed history, as they do within moments.
    pub fn wait_until_settled(&self) {
        eventually("tables that have followed history", || self.is_settled().then_some(()));
    }

    fn is_settled(&self) -> bool {
        self.sql("SELECT count(*) FROM setting WHERE name = 'settled'").trim() == "0"
    }

    /// The rows of the outbox as the database has them; nothing while they are behind history.
    fn outbox_rows(&self) -> Option<usize> {
        if !self.is_settled() {
            return None;
        }
        self.sql("SELECT count(*) FROM outbox").trim().parse().ok()
    }

    /// Asks the database by the `sqlite3` shell, which opens it beside the daemon.
    #[must_use]
    pub fn sql(&self, sql: &str) -> String {
        let path = self.data.join("sconced.sqlite");
        let output = Command::new("sqlite3")
            .args(["-cmd", ".timeout 20000", "-readonly"])
            .arg(&path)
            .arg(sql)
            .output()
            .expect("sqlite3 (Debian package sqlite3)");
        assert!(output.status.success(), "{sql}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8_lossy(&output.stdout).into_owned()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        if std::thread::panicking() {
            let log = self.log();
            let tail: Vec<_> = log.lines().rev().take(30).collect();
            eprintln!("the daemon's last words:");
            for line in tail.iter().rev() {
                eprintln!("  {line}");
            }
        }
    }
}

fn log_path(data: &Path) -> PathBuf {
    data.with_extension("log")
}

fn spawn(program: &Path, options: &DaemonOptions, data: &Path) -> (Child, String, (String, u16)) {
    let log = std::fs::OpenOptions::new().create(true).append(true).open(log_path(data)).expect("a log");
    let mut command = Command::new(program);
    command.arg("serve").arg("--data").arg(data);
    command.args(["--http", options.http.as_deref().unwrap_or("127.0.0.1:0")]);
    match &options.broker {
        Some(url) => command.args(["--broker", url]),
        None => command.args(["--mqtt", options.mqtt.as_deref().unwrap_or("127.0.0.1:0")]),
    };
    if !options.closed {
        command.arg("--open-on-loopback");
    }
    command.args(&options.args);
    for (name, value) in std::env::vars().filter(|(name, _)| name.starts_with("SCONCED_")) {
        let _ = value;
        command.env_remove(name);
    }
    command.envs(options.env.iter().cloned());
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(log);
    let mut child = command.spawn().expect("the daemon starts");
    let mut out = BufReader::new(child.stdout.take().expect("its output"));
    let mut line = String::new();
    out.read_line(&mut line).expect("its first line");
    if !line.starts_with("ready ") {
        let status = child.wait().expect("wait");
        let log = std::fs::read_to_string(log_path(data)).unwrap_or_default();
        panic!("the daemon did not become ready ({status}): {line}\n{log}");
    }
    let field = |name: &str| {
        line.split_whitespace()
            .find_map(|word| word.strip_prefix(name)?.strip_prefix('='))
            .unwrap_or_else(|| panic!("no {name} in {line}"))
            .to_owned()
    };
    let mqtt = field("mqtt");
    let (host, port) = mqtt.rsplit_once(':').expect("host and port");
    (child, field("http"), (host.to_owned(), port.parse().expect("a port")))
}
