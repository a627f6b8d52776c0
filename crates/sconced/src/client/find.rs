//! Finding the daemon: the one that is named, the one of the data folder, or a demo that runs.

use std::path::{Path, PathBuf};

use serde_json::json;

use super::Client;
use crate::arguments::Common;
use crate::config::{Flags, Sources};
use crate::daemon::say;
use crate::error::Failure;
use crate::whereabouts::Whereabouts;

/// Where a daemon listens unless it is told otherwise.
const USUAL: &str = "http://127.0.0.1:8470";

/// The configuration that a command means: of the file that SCONCED_CONFIG names, if it names one, and of the
/// environment.
pub(crate) fn configured(data: Option<PathBuf>) -> Sources {
    let config = std::env::var_os("SCONCED_CONFIG").filter(|path| !path.is_empty()).map(PathBuf::from);
    Sources::new(Flags { config, data, ..Flags::default() }, std::env::vars_os())
}

/// The data folder that a command means: the flag's, or that of the configuration.
///
/// # Errors
/// When the configuration cannot be used.
pub(crate) fn data_folder(common: &Common) -> Result<PathBuf, Failure> {
    match &common.data {
        Some(data) => Ok(data.clone()),
        None => Ok(configured(None).read()?.data.folder),
    }
}

/// The daemon that a command means. Without any sign of one, it is looked for at the usual address, unless the data
/// folder was named: then another folder's daemon is not meant. A demo that is found because the data folder has no
/// daemon is named on standard error: it is easily taken for the house.
///
/// # Errors
/// [`Failure::NoDaemon`] when the data folder is named and no daemon has left word in it.
pub fn find(common: &Common) -> Result<Client, Failure> {
    if let Some(url) = &common.url {
        // without a folder there is no word of a daemon in it, and a token has to be given
        let data = data_folder(common).ok();
        let token = common.token.clone().or_else(|| token_for(url, data.as_deref()));
        return Ok(Client::new(url, token, "Check the address, and that the daemon runs".to_owned()));
    }
    let data = data_folder(common)?;
    let here = Whereabouts::of_data(&data);
    let demo = if here.is_none() && common.data.is_none() { Whereabouts::of_user() } else { None };
    if let Some(demo) = &demo {
        say_demo(&demo.http, common.json);
    }
    let found = here.or(demo);
    let file = Whereabouts::path(found.as_ref().map_or(&data, |found| &found.data));
    let file = file.display();
    match found {
        Some(Whereabouts { http, pid, token, .. }) => {
            let left = format!(
                "Process {pid} said so in {file}; if it is no longer there, start a daemon with `sconced serve`"
            );
            Ok(Client::new(&http, common.token.clone().or(Some(token)), left))
        }
        None if common.data.is_some() => Err(Failure::NoDaemon(format!(
            "no daemon serves this data folder: there is no {file} that this user can read. Start one with `sconced serve`, or say where it is \
             with --url"
        ))),
        None => {
            let looked = format!(
                "There is no {file} either. Start a daemon with `sconced serve` or `sconced demo`, or say where it is \
                 with --data or --url"
            );
            Ok(Client::new(USUAL, common.token.clone(), looked))
        }
    }
}

fn say_demo(http: &str, json: bool) {
    let words = format!("talking to the demo at {http}");
    say(&if json { json!({"note": words}).to_string() } else { words });
}

/// The token of a daemon of this machine that is named by its address.
fn token_for(url: &str, data: Option<&Path>) -> Option<String> {
    let same = |found: &Whereabouts| found.http == url.trim_end_matches('/');
    let of_data = data.and_then(Whereabouts::of_data).filter(same);
    of_data.or_else(|| Whereabouts::of_user().filter(same)).map(|found| found.token)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn common(data: &std::path::Path, url: Option<&str>, token: Option<&str>) -> Common {
        Common {
            json: false,
            data: Some(data.into()),
            url: url.map(ToOwned::to_owned),
            token: token.map(ToOwned::to_owned),
        }
    }

    #[test]
    fn the_daemon_of_the_data_folder_is_found_with_its_token() {
        let data = tempfile::tempdir().unwrap();
        let here = Whereabouts {
            http: "http://127.0.0.1:9".into(),
            pid: 7,
            token: "of-this-start".into(),
            data: data.path().into(),
        };
        here.leave(data.path()).unwrap();
        let found = find(&common(data.path(), None, None)).unwrap();
        assert_eq!((found.url.as_str(), found.token.as_deref()), ("http://127.0.0.1:9", Some("of-this-start")));
        assert_eq!(find(&common(data.path(), None, Some("mine"))).unwrap().token.as_deref(), Some("mine"));
        let named = find(&common(data.path(), Some("http://127.0.0.1:9/"), None)).unwrap();
        assert_eq!(named.token.as_deref(), Some("of-this-start"));
        let elsewhere = find(&common(data.path(), Some("http://127.0.0.1:10"), None)).unwrap();
        assert_eq!(elsewhere.token, None, "a token goes to the daemon that made it and to no other");
    }

    #[test]
    fn without_a_daemon_the_words_say_how_to_start_one() {
        let data = tempfile::tempdir().unwrap();
        let failure = find(&common(data.path(), None, None)).unwrap_err();
        assert!(failure.to_string().contains("sconced serve"), "{failure}");
    }
}
