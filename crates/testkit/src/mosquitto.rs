//! Debian's mosquitto as an external broker.

use std::fs;
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use crate::free::free_port;
use crate::wait::eventually;

/// A running mosquitto that asks for passwords and keeps to access rules. Its state is kept over a restart.
#[derive(Debug)]
pub struct Mosquitto {
    child: Child,
    folder: TempDir,
    /// Its port on 127.0.0.1.
    pub port: u16,
}

impl Mosquitto {
    /// Starts it on a free port with files for passwords and access.
    ///
    /// # Panics
    /// When it does not start.
    #[must_use]
    pub fn start(passwords: &Path, access: &Path) -> Self {
        Self::start_at(passwords, access, free_port())
    }

    /// Starts it on a port.
    ///
    /// # Panics
    /// When it does not start.
    #[must_use]
    pub fn start_at(passwords: &Path, access: &Path, port: u16) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        // as root it would become the user mosquitto, who may not read what the test wrote
        let config = format!(
            "listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {}\nacl_file {}\nuse_username_as_clientid true\n\
             persistence true\npersistence_location {}/\nautosave_interval 1\nautosave_on_changes true\n\
             max_queued_messages 100000\nmax_inflight_messages 1000\nuser {}\nlog_dest stderr\n",
            passwords.display(),
            access.display(),
            folder.path().display(),
            whoami(),
        );
        fs::write(folder.path().join("mosquitto.conf"), config).expect("its configuration");
        let child = spawn(folder.path());
        let broker = Self { child, folder, port };
        broker.wait_ready();
        broker
    }

    fn wait_ready(&self) {
        eventually("mosquitto", || TcpStream::connect(("127.0.0.1", self.port)).ok());
    }

    /// Its process id.
    #[must_use]
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Reads its files again (SIGHUP).
    ///
    /// # Panics
    /// When it cannot be told.
    pub fn reload(&self) {
        let status = Command::new("kill").args(["-HUP", &self.child.id().to_string()]).status().expect("kill");
        assert!(status.success());
    }

    /// Stops it.
    pub fn stop(&mut self) {
        let _ = Command::new("kill").arg(self.child.id().to_string()).status();
        let _ = self.child.wait();
    }

    /// Starts it again with what it kept.
    ///
    /// # Panics
    /// When it does not start.
    pub fn restart(&mut self) {
        self.stop();
        self.child = spawn(self.folder.path());
        self.wait_ready();
    }

    /// Starts it again with nothing of what it kept: sessions and retained messages are lost.
    ///
    /// # Panics
    /// When it does not start.
    pub fn restart_empty(&mut self) {
        self.stop();
        let _ = fs::remove_file(self.folder.path().join("mosquitto.db"));
        self.child = spawn(self.folder.path());
        self.wait_ready();
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn spawn(folder: &Path) -> Child {
    let log = fs::OpenOptions::new().create(true).append(true).open(folder.join("log")).expect("a log");
    Command::new(program())
        .arg("-c")
        .arg(folder.join("mosquitto.conf"))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(log)
        .spawn()
        .expect("mosquitto (Debian package mosquitto)")
}

fn program() -> PathBuf {
    let path = PathBuf::from("/usr/sbin/mosquitto");
    if path.exists() { path } else { "mosquitto".into() }
}

fn whoami() -> String {
    let output = Command::new("id").arg("-un").output().expect("id");
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}
