//! What a broker that runs on its own needs: the same people and the same rules, as files in mosquitto's formats.
//!
//! The formats are those of its public manual pages `mosquitto_passwd(1)` and `mosquitto.conf(5)`; that it takes the
//! files is tested against Debian's 2.0.11. Other brokers read them too, or have their own ways.
//!
//! Two differences from the embedded broker remain, because the access file cannot say more: it lets a client
//! subscribe whatever it likes and then delivers only what it may read; and it does not tie client ids to users.

use crate::BrokerError;
use crate::topics::{Down, Prefix, Up};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::Sha512;
use std::fmt::Write as _;

pub use crate::external_files::{ExternalFiles, write_atomically};

/// The marker of PBKDF2 with SHA-512 in a password file.
const KIND: u8 = 7;
/// Rounds of the hash: the number that mosquitto itself writes. Few, but the secrets made here are 256 random bits,
/// which no number of rounds makes harder to guess; a password that a person thought up would need many more.
const ROUNDS: u32 = 101;
/// Bytes of salt: what mosquitto 2.0 writes and accepts.
const SALT_BYTES: usize = 12;
/// Bytes of the hash: one block of SHA-512.
const HASH_BYTES: usize = 64;
/// The most bytes that MQTT carries in a password (MQTT 5.0, section 1.5.6).
const MOST_SECRET_BYTES: usize = 65_535;

/// One line of the password file, without its end: `username:$7$101$salt$hash`, salted anew each time.
///
/// # Errors
/// [`BrokerError::Username`] for a username that cannot stand in the file or that could reach others' topics there,
/// [`BrokerError::Secret`] for a secret that is empty or longer than MQTT carries, [`BrokerError::Random`] if the
/// system gives no salt.
pub fn password_line(username: &str, secret: impl AsRef<[u8]>) -> Result<String, BrokerError> {
    let mut salt = [0_u8; SALT_BYTES];
    getrandom::fill(&mut salt).map_err(|error| BrokerError::Random(error.to_string()))?;
    salted_line(username, secret.as_ref(), &salt)
}

fn salted_line(username: &str, secret: &[u8], salt: &[u8]) -> Result<String, BrokerError> {
    check_username(username)?;
    if secret.is_empty() || secret.len() > MOST_SECRET_BYTES {
        return Err(BrokerError::Secret(secret.len()));
    }
    let hash = pbkdf2::pbkdf2_hmac_array::<Sha512, HASH_BYTES>(secret, salt, ROUNDS);
    Ok(format!("{username}:${KIND}${ROUNDS}${}${}", STANDARD.encode(salt), STANDARD.encode(hash)))
}

/// Refuses usernames that would break the file's lines, or that would mean something else inside a topic.
pub(crate) fn check_username(username: &str) -> Result<(), BrokerError> {
    let breaks = |c: char| c.is_control() || c.is_whitespace() || matches!(c, ':' | '/' | '+' | '#');
    if username.is_empty() || username.len() > 64 || username.contains(breaks) {
        return Err(BrokerError::Username(username.chars().take(64).collect()));
    }
    Ok(())
}

/// The access file: `daemon_user` publishes every downward topic and reads every upward one; everybody else publishes
/// and reads their own, `%u` being the username, which is the fixture's id.
///
/// # Errors
/// [`BrokerError::Username`] for a `daemon_user` that cannot stand in the file.
pub fn access_file(prefix: &Prefix, daemon_user: &str) -> Result<String, BrokerError> {
    check_username(daemon_user)?;
    let mut text = String::from("# Written by sconced: it is replaced whenever sconced starts.\n");
    // Writing to a String cannot fail.
    let _ = writeln!(text, "\n# the daemon\nuser {daemon_user}");
    for message in Down::ALL {
        let _ = writeln!(text, "topic write {}", prefix.down("+", message));
    }
    for message in Up::ALL {
        // an empty message on `alive` makes the broker forget a fixture that is gone
        let rights = if message == Up::Alive { "readwrite" } else { "read" };
        let _ = writeln!(text, "topic {rights} {}", prefix.up("+", message));
    }
    text.push_str("\n# every fixture: its own topics and no others\n");
    for message in Up::ALL {
        let _ = writeln!(text, "pattern write {}", prefix.up("%u", message));
    }
    for message in Down::ALL {
        let _ = writeln!(text, "pattern read {}", prefix.down("%u", message));
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_has_the_parts_that_the_manual_page_names() {
        let line = password_line("stairs", "secret").unwrap();
        let (user, hash) = line.split_once(':').unwrap();
        assert_eq!(user, "stairs");
        let parts: Vec<_> = hash.split('$').collect();
        let [empty, kind, rounds, salt, hash] = parts[..] else { panic!("{line}") };
        assert_eq!((empty, kind, rounds), ("", "7", "101"));
        assert_eq!(STANDARD.decode(salt).unwrap().len(), 12);
        assert_eq!(STANDARD.decode(hash).unwrap().len(), 64);
        assert_ne!(password_line("stairs", "secret").unwrap(), line, "the salt is not new");
    }

    /// Source: computed with Python's `hashlib.pbkdf2_hmac("sha512", b"reed and water", bytes(range(12)), 101)`.
    #[test]
    fn the_hash_is_what_another_implementation_computes() {
        let salt: Vec<u8> = (0..12).collect();
        assert_eq!(
            salted_line("stairs", b"reed and water", &salt).unwrap(),
            "stairs:$7$101$AAECAwQFBgcICQoL$fhLD/1tXFq922abcSrfHFKSFpsjL6JzwfHf7lCgt1IXtIFXAy1P841Sbh74YDbd3upt55rP6tIWSlomZMWXdpw=="
        );
    }

    #[test]
    fn what_would_break_the_file_is_refused() {
        let long = "a".repeat(65);
        for bad in ["", "a:b", "a\nb", "a b", "a/b", "+", "#", "a\0", "a\u{85}b", long.as_str()] {
            assert!(matches!(password_line(bad, "x"), Err(BrokerError::Username(_))), "{bad:?}");
            assert!(access_file(&Prefix::default(), bad).is_err(), "{bad:?}");
        }
        assert!(matches!(password_line("a", ""), Err(BrokerError::Secret(0))));
        assert!(matches!(password_line("a", vec![b'x'; 65_536]), Err(BrokerError::Secret(65_536))));
    }

    #[test]
    fn the_access_file_says_the_rules_of_the_embedded_broker() {
        let text = access_file(&Prefix::parse("house/lights").unwrap(), "sconced").unwrap();
        let lines: Vec<_> = text.lines().filter(|l| !l.starts_with('#') && !l.is_empty()).collect();
        assert_eq!(
            lines,
            [
                "user sconced",
                "topic write house/lights/+/desired",
                "topic write house/lights/+/patch",
                "topic write house/lights/+/showing",
                "topic write house/lights/+/problem",
                "topic read house/lights/+/boot",
                "topic read house/lights/+/ask",
                "topic read house/lights/+/reported",
                "topic read house/lights/+/event",
                "topic read house/lights/+/wish",
                "topic readwrite house/lights/+/alive",
                "pattern write house/lights/%u/boot",
                "pattern write house/lights/%u/ask",
                "pattern write house/lights/%u/reported",
                "pattern write house/lights/%u/event",
                "pattern write house/lights/%u/wish",
                "pattern write house/lights/%u/alive",
                "pattern read house/lights/%u/desired",
                "pattern read house/lights/%u/patch",
                "pattern read house/lights/%u/showing",
                "pattern read house/lights/%u/problem",
            ]
        );
    }
}
