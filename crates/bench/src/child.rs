//! A process of ours: started, waited for, told things, and never left behind.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child as Process, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use crate::error::BenchError;

/// How long a process may take until it is ready, and to end.
const READY: Duration = Duration::from_secs(120);
const END: Duration = Duration::from_secs(15);

/// A running process; it is killed when this is dropped.
#[derive(Debug)]
pub(crate) struct Child {
    process: Process,
    stdin: Option<ChildStdin>,
    lines: Receiver<String>,
    ready: String,
    log: PathBuf,
    /// From its start to its line `ready …`.
    pub(crate) started_in: Duration,
}

impl Child {
    /// Starts a program and waits for its line `ready NAME=VALUE …`. It logs into `log`.
    pub(crate) fn start(command: &mut Command, log: &Path) -> Result<Self, BenchError> {
        let file = std::fs::File::create(log).map_err(BenchError::io("making a log"))?;
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(file);
        for (name, _) in std::env::vars_os() {
            // the measured daemon has the settings that are said here and no others
            if name.to_string_lossy().starts_with("SCONCED_") && !command.get_envs().any(|(set, _)| set == name) {
                command.env_remove(name);
            }
        }
        let began = Instant::now();
        let mut process = command.spawn().map_err(BenchError::io("starting a process"))?;
        let (stdin, stdout) = (process.stdin.take(), process.stdout.take());
        let (told, lines) = channel();
        if let Some(stdout) = stdout {
            // ends with the process
            std::thread::spawn(move || {
                for line in BufReader::new(stdout).lines().map_while(Result::ok) {
                    if told.send(line).is_err() {
                        return;
                    }
                }
            });
        }
        let mut child =
            Self { process, stdin, lines, ready: String::new(), log: log.to_owned(), started_in: Duration::ZERO };
        let program = command.get_program().to_string_lossy().into_owned();
        match child.lines.recv_timeout(READY) {
            Ok(line) if line.starts_with("ready ") => {
                child.started_in = began.elapsed();
                child.ready = line;
                Ok(child)
            }
            Ok(line) => Err(child.failed(program, format!("said {line:?} instead of being ready"))),
            Err(RecvTimeoutError::Timeout) => Err(child.failed(program, "did not become ready in two minutes".into())),
            Err(RecvTimeoutError::Disconnected) => Err(child.failed(program, "ended at once".into())),
        }
    }

    fn failed(&self, program: String, why: String) -> BenchError {
        let log = std::fs::read_to_string(&self.log).unwrap_or_default();
        let from = log.char_indices().rev().nth(1_000).map_or(0, |(at, _)| at);
        BenchError::Child { program, why, log: log.get(from..).unwrap_or_default().trim().to_owned() }
    }

    /// A value of its ready line.
    pub(crate) fn said(&self, name: &str) -> Option<&str> {
        self.ready.split(' ').find_map(|word| word.strip_prefix(name)?.strip_prefix('='))
    }

    /// An address of its ready line.
    pub(crate) fn address(&self, name: &str) -> Result<SocketAddr, BenchError> {
        let said = self.said(name).unwrap_or_default();
        said.trim_start_matches("http://")
            .parse()
            .map_err(|_| BenchError::unexpected("reading an address", self.ready.clone()))
    }

    /// Its process id.
    pub(crate) fn pid(&self) -> u32 {
        self.process.id()
    }

    /// Asks it something on its standard input and gives the line that it answers.
    pub(crate) fn ask(&mut self, question: &str) -> Result<String, BenchError> {
        let stdin = self.stdin.as_mut().ok_or_else(|| BenchError::unexpected("asking a process", "it is closed"))?;
        writeln!(stdin, "{question}").map_err(BenchError::io("asking a process"))?;
        self.lines.recv_timeout(END).map_err(|_| BenchError::TooLong("an answer of a process"))
    }

    /// Ends it in good order: SIGTERM, and its standard input closed.
    pub(crate) fn stop(mut self) -> Result<(), BenchError> {
        self.stdin = None;
        if let Some(pid) = i32::try_from(self.process.id()).ok().and_then(rustix::process::Pid::from_raw) {
            // one that has ended by itself cannot be told
            let _ = rustix::process::kill_process(pid, rustix::process::Signal::TERM);
        }
        let began = Instant::now();
        while began.elapsed() < END {
            if self.process.try_wait().map_err(BenchError::io("waiting for a process"))?.is_some() {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        Err(BenchError::TooLong("the end of a process"))
    }
}

impl Drop for Child {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
