//! Runs the real program in a world of its own: no environment, no folder and no port shared with another test.

use std::io::{BufRead as _, BufReader, Read as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};
use serde_json::Value;

/// A bound for what happens at once on a quiet machine; nothing is measured against it.
pub(crate) const BOUND: Duration = Duration::from_secs(90);

/// A temporary folder in which the program finds everything that it would find at home.
pub(crate) struct World {
    folder: tempfile::TempDir,
}

impl World {
    pub(crate) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, text).unwrap();
        path
    }

    pub(crate) fn program(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_sconced"));
        command.args(arguments).current_dir(self.folder.path()).env_clear().stdin(Stdio::null());
        command.env("XDG_RUNTIME_DIR", self.folder.path()).env("TMPDIR", self.folder.path());
        command
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        self.program(arguments).output().unwrap()
    }

    /// Runs a command that succeeds, and gives what it printed.
    pub(crate) fn ok(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let (out, err) = (text(&output.stdout), text(&output.stderr));
        assert!(output.status.success(), "{arguments:?}\n{out}\n{err}");
        out
    }

    /// Runs a command that succeeds with `--json`, and gives what it printed.
    pub(crate) fn json(&self, arguments: &[&str]) -> Value {
        let printed = self.ok(&[arguments, &["--json"]].concat());
        serde_json::from_str(&printed).unwrap_or_else(|error| panic!("{arguments:?}: {error}\n{printed}"))
    }

    /// Runs a command that fails, and gives its exit code and what it said.
    pub(crate) fn fails(&self, arguments: &[&str]) -> (i32, String) {
        let output = self.run(arguments);
        assert!(!output.status.success(), "{arguments:?} succeeded: {}", text(&output.stdout));
        (output.status.code().unwrap(), text(&output.stderr))
    }

    pub(crate) fn serve(&self, more: &[&str]) -> Daemon {
        let ports = ["serve", "--http", "127.0.0.1:0", "--mqtt", "127.0.0.1:0"];
        self.start(&[&ports, more].concat())
    }

    /// Starts something and waits for its ready line.
    pub(crate) fn start(&self, arguments: &[&str]) -> Daemon {
        let mut daemon = Daemon::spawn(self.program(arguments));
        daemon.wait_until_ready();
        daemon
    }
}

pub(crate) fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// A program that runs until it is told to stop.
pub(crate) struct Daemon {
    child: Child,
    lines: Receiver<String>,
    errors: Option<std::thread::JoinHandle<String>>,
    /// The ready line, without its end.
    pub(crate) ready: String,
}

impl Daemon {
    pub(crate) fn spawn(mut command: Command) -> Self {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (sender, lines) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || out.lines().map_while(Result::ok).try_for_each(|line| sender.send(line)));
        let mut err = child.stderr.take().unwrap();
        let errors = std::thread::spawn(move || {
            let mut text = String::new();
            err.read_to_string(&mut text).unwrap();
            text
        });
        Self { child, lines, errors: Some(errors), ready: String::new() }
    }

    pub(crate) fn wait_until_ready(&mut self) {
        match self.lines.recv_timeout(BOUND) {
            Ok(line) => self.ready = line,
            Err(error) => {
                let _ = self.child.kill();
                panic!("no ready line ({error}); it said {}", self.errors.take().unwrap().join().unwrap());
            }
        }
    }

    /// The next line of standard output.
    pub(crate) fn line(&self) -> Option<String> {
        self.lines.recv_timeout(BOUND).ok()
    }

    /// A part of the ready line: `http`, `mqtt`, `data`.
    pub(crate) fn part(&self, name: &str) -> &str {
        let start = self.ready.find(&format!(" {name}=")).unwrap() + name.len() + 2;
        let rest = &self.ready[start..];
        if name == "data" { rest } else { rest.split(' ').next().unwrap() }
    }

    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    pub(crate) fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).unwrap();
    }

    /// Waits for its end, and gives its exit status and what it said on standard error.
    pub(crate) fn end(mut self) -> (ExitStatus, String) {
        let status = until("the end of the program", || self.child.try_wait().unwrap());
        assert_eq!(self.lines.recv_timeout(BOUND).ok(), None, "standard output holds the ready line alone");
        (status, self.errors.take().unwrap().join().unwrap())
    }

    pub(crate) fn terminate(self) -> (ExitStatus, String) {
        self.signal(Signal::TERM);
        self.end()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Waits until there is something.
pub(crate) fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let begun = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(begun.elapsed() < BOUND, "waited too long for {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

/// Asks a daemon that is open on loopback for JSON.
pub(crate) fn get(url: &str) -> Value {
    ureq::get(url).call().unwrap().body_mut().read_json().unwrap()
}

pub(crate) fn exists(path: &Path) -> bool {
    path.try_exists().unwrap()
}
