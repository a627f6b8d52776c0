//! What can go wrong in this crate, each with what the reader can do about it.

use std::net::SocketAddr;
use std::path::PathBuf;

/// Why the broker did not start, or why a name or a file was refused.
#[derive(Debug, thiserror::Error)]
pub enum BrokerError {
    /// Another program (or another copy of this one) already listens on that address.
    #[error(
        "{addr} is already in use: stop the other program that listens there, or choose another port (0 picks a free one)"
    )]
    AddressInUse {
        /// The address that was asked for.
        addr: SocketAddr,
    },
    /// The address cannot be listened on for another reason: not one of this machine's, or a port below 1024
    /// without the right to it.
    #[error("cannot listen on {addr}: {source}; choose an address of this machine and a port that you may open")]
    Bind {
        /// The address that was asked for.
        addr: SocketAddr,
        /// What the system said.
        source: std::io::Error,
    },
    /// A setting is outside its bounds. The text names the setting, the value and the bounds.
    #[error("{0}")]
    Setting(String),
    /// The topic prefix is not one. The text says what is wrong with it.
    #[error(
        "the topic prefix {prefix:?} cannot be used: {why}; take 1 to 24 letters, digits, '_' or '-', in levels parted by '/'"
    )]
    Prefix {
        /// The prefix as it was given.
        prefix: String,
        /// What is wrong with it.
        why: &'static str,
    },
    /// The last level of a topic is none of those that this crate knows.
    #[error("{0:?} is no message name: see the table of topics in the manual")]
    UnknownMessage(String),
    /// A username cannot stand in a password file: it is empty, longer than 64 bytes, or has a colon, a wildcard, a
    /// slash, white space or a control character in it.
    #[error("the username {0:?} cannot stand in a password file: take a fixture id")]
    Username(String),
    /// A secret is empty or longer than 65,535 bytes, the most that MQTT carries (MQTT 5.0, section 1.5.6).
    #[error("a secret of {0} bytes cannot be used: take 1 to 65535 bytes")]
    Secret(usize),
    /// A line for the password file is not of the form `username:hash` for the username it is meant for.
    #[error("the password line for {0:?} is not of the form username:hash in one line: make it with password_line")]
    PasswordLine(String),
    /// A file for the external broker cannot be read or written.
    #[error("cannot {doing} {path}: {source}; check that the folder exists and that this user may write there", path = .path.display())]
    File {
        /// What was being done: `read`, `write`.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The system gave no random numbers. Nothing that needs a secret can be made without them.
    #[error("the system gives no random numbers ({0}): check that /dev/urandom can be read")]
    Random(String),
    /// The broker failed in a way that has no better name.
    #[error("the broker failed: {0}")]
    Failed(String),
}
