//! Precedence, faults of every section, and the example file.

use std::ffi::OsString;
use std::path::PathBuf;

use super::*;

fn read(file: Option<&str>, environment: &[(&str, &str)], flags: Flags) -> Result<Settings, ConfigError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sconced.toml");
    let config = file.map(|text| {
        std::fs::write(&path, text).unwrap();
        path.clone()
    });
    let environment = environment.iter().map(|(name, value)| (OsString::from(name), OsString::from(value)));
    Sources::new(Flags { config, ..flags }, environment).read()
}

fn refused(file: &str) -> String {
    read(Some(file), &[], Flags::default()).unwrap_err().to_string()
}

#[test]
fn flags_win_over_the_environment_and_the_environment_over_the_file() {
    let file = "[http]\nlisten = \"127.0.0.1:1\"\n[log]\nformat = \"json\"\n[mqtt]\nlisten = \"127.0.0.1:2\"\n";
    let environment = [("SCONCED_HTTP__LISTEN", "127.0.0.1:3"), ("SCONCED_LOG__FORMAT", "text")];
    let flags = Flags { http: Some("127.0.0.1:4".parse().unwrap()), ..Flags::default() };
    let settings = read(Some(file), &environment, flags).unwrap();
    assert_eq!(settings.http.listen.port(), 4);
    assert_eq!(settings.log.format, LogFormat::Text);
    assert_eq!(settings.mqtt.listen.port(), 2);
    assert_eq!(settings.data, Data::default());
}

#[test]
fn every_flag_reaches_its_setting() {
    let flags = Flags {
        config: None,
        data: Some(PathBuf::from("elsewhere")),
        http: Some("127.0.0.1:1".parse().unwrap()),
        mqtt: Some("127.0.0.1:2".parse().unwrap()),
        broker: None,
        open_on_loopback: true,
        log: Some(LogFormat::Json),
    };
    let settings = read(None, &[], flags).unwrap();
    assert_eq!(settings.data.folder, PathBuf::from("elsewhere"));
    assert_eq!((settings.http.listen.port(), settings.mqtt.listen.port()), (1, 2));
    assert!(settings.http.open_on_loopback);
    assert_eq!(settings.log.format, LogFormat::Json);
    let external = read(None, &[], Flags { broker: Some("mqtt://b:9".into()), ..Flags::default() }).unwrap();
    assert_eq!(external.broker.external().unwrap().to_string(), "b:9");
}

#[test]
fn the_flag_for_the_inner_broker_takes_an_external_one_of_the_file_back() {
    let file = "[broker]\nurl = \"mqtt://broker.lan\"\n";
    assert!(read(Some(file), &[], Flags::default()).unwrap().broker.external().is_some());
    let flags = Flags { mqtt: Some("127.0.0.1:0".parse().unwrap()), ..Flags::default() };
    assert_eq!(read(Some(file), &[], flags).unwrap().broker.external(), None);
}

#[test]
fn an_empty_text_in_the_environment_takes_a_setting_of_the_file_back() {
    let file = "[broker]\nurl = \"mqtt://broker.lan\"\n[site]\ntitle = \"Heron House\"\n";
    let environment = [("SCONCED_BROKER__URL", ""), ("SCONCED_SITE__TITLE", "")];
    let settings = read(Some(file), &environment, Flags::default()).unwrap();
    assert_eq!(settings, Settings::default());
}

#[test]
fn every_setting_can_be_set_by_the_environment_name_that_its_words_give() {
    let values = [
        ("http.open_on_loopback", "true"),
        ("mqtt.websocket", "127.0.0.1:8083"),
        ("mqtt.host", "lights.lan"),
        ("mqtt.max_packet_bytes", "20000"),
        ("broker.url", "mqtt://b"),
        ("broker.username", "sconced"),
        ("broker.password", "007"),
        ("broker.client_id", "second"),
        ("broker.prefix", "house/lights"),
        ("broker.files", "/srv/broker"),
        ("broker.reload", "/run/broker.pid"),
        ("broker.resend_first", "0.5"),
        ("backups.folder", "/mnt/x"),
        ("backups.keep", "3"),
        ("retention.history_rows", "9"),
        ("site.latitude", "52.5"),
        ("site.longitude", "-4"),
        ("site.zone", "europe/amsterdam"),
        ("log.level", "debug"),
    ];
    let names: Vec<String> =
        values.iter().map(|(key, _)| format!("SCONCED_{}", key.replace('.', "__").to_uppercase())).collect();
    let environment: Vec<(&str, &str)> =
        names.iter().map(String::as_str).zip(values.iter().map(|(_, value)| *value)).collect();
    let settings = read(None, &environment, Flags::default()).unwrap();
    let mut changed = Settings::default().differing(&settings);
    let mut expected: Vec<&str> = values.iter().map(|(key, _)| *key).collect();
    changed.sort_unstable();
    expected.sort_unstable();
    assert_eq!(changed, expected);
    assert_eq!(settings.broker.password.unwrap().reveal(), "007", "a password of digits stays as it is");
    for (section, setting) in all_settings() {
        let words = setting.docs.concat();
        let name = format!("SCONCED_{}__{}", section.to_uppercase(), setting.name.to_uppercase());
        assert!(words.contains(&name), "{section}.{} does not name {name}", setting.name);
        if let Some(default) = &setting.default {
            let bare = default.trim_matches('"');
            assert!(words.contains("Default: "), "{section}.{}", setting.name);
            assert!(
                bare.is_empty() || words.contains(&format!("Default: {bare}")),
                "{section}.{} {bare}",
                setting.name
            );
        }
    }
}

fn all_settings() -> Vec<(&'static str, section::Setting)> {
    let of_section = |section: Described| section.settings.into_iter().map(move |setting| (section.name, setting));
    Settings::sections().into_iter().flat_map(of_section).collect()
}

#[test]
fn variables_of_other_purposes_are_left_alone() {
    let environment =
        [("SCONCED_URL", "http://x"), ("SCONCED_TOKEN", "t"), ("OTHER__HTTP__LISTEN", "x"), ("PATH", "/")];
    assert_eq!(read(None, &environment, Flags::default()).unwrap(), Settings::default());
}

#[test]
fn a_name_that_no_setting_has_is_refused_with_those_there_are() {
    assert_eq!(
        refused("[http]\nlistn = \"x\"\n"),
        "there is no setting http.listn; the section http has listen, open_on_loopback"
    );
    assert!(refused("[htp]\nlisten = \"x\"\n").starts_with("there is no section htp; there are http, mqtt, "));
    assert!(refused("listen = \"x\"\n").starts_with("there is no section listen"));
    let environment = [("SCONCED_DATA__FOLDR", "x")];
    let said = read(None, &environment, Flags::default()).unwrap_err().to_string();
    assert!(said.contains("data.foldr"), "{said}");
}

#[test]
fn a_wrong_value_in_any_section_is_refused_with_its_name_and_what_to_write() {
    let cases = [
        ("[http]\nlisten = \"localhost\"", "http.listen", "127.0.0.1:8470"),
        ("[http]\nopen_on_loopback = \"perhaps\"", "http.open_on_loopback", "write such as"),
        ("[mqtt]\nwebsocket = \"8083\"", "mqtt.websocket", "127.0.0.1:8083"),
        ("[mqtt]\nwebsocket = \"127.0.0.1:1883\"", "mqtt.websocket", "another port"),
        ("[mqtt]\nhost = \"mqtt://a\"", "mqtt.host", "lights.lan"),
        ("[mqtt]\nmax_packet_bytes = 100", "mqtt.max_packet_bytes", "write 16384 to 1048576"),
        ("[mqtt]\nmax_connections = 0", "mqtt.max_connections", "write 1 to"),
        ("[mqtt]\nmax_connections = -1", "mqtt.max_connections", "write such as max_connections = 10000"),
        ("[mqtt]\nconnections_per_address = 0", "mqtt.connections_per_address", "write 1 to"),
        ("[mqtt]\nfailed_logins_per_minute = 99999", "mqtt.failed_logins_per_minute", "write 1 to 10000"),
        ("[broker]\nurl = \"http://x\"", "broker.url", "mqtt://HOST:PORT"),
        ("[broker]\nusername = \"x\"", "broker.username", "broker.url"),
        (
            "[broker]\nurl = \"mqtt://x\"\nusername = \"a\"\npassword = \"b\"\npassword_file = \"c\"",
            "broker.password",
            "one of the two",
        ),
        ("[broker]\nurl = \"mqtt://x\"\npassword = \"b\"", "broker.username", "user name"),
        ("[broker]\nurl = \"mqtt://x\"\nfiles = \"b\"", "broker.username", "user name"),
        ("[broker]\nreload = \"b\"", "broker.reload", "broker.url"),
        ("[broker]\nurl = \"mqtt://x\"\nreload = \"b\"", "broker.reload", "broker.files"),
        ("[broker]\nprefix = \"a/#\"", "broker.prefix", "fixtures"),
        ("[broker]\nclient_id = \"a b\"", "broker.client_id", "sconced-daemon"),
        ("[broker]\nresend_first = 0", "broker.resend_first", "0.05 to 3600 seconds"),
        ("[broker]\nresend_first = nan", "broker.resend_first", "0.05 to 3600 seconds"),
        ("[broker]\nresend_longest = 1", "broker.resend_longest", "2 (resend_first)"),
        ("[data]\nfolder = 3.5\n[data.x]", "data", ""),
        ("[backups]\nevery_hours = 9000", "backups.every_hours", "0 to 8760 hours"),
        ("[backups]\nkeep = 0", "backups.keep", "write 1 to 10000"),
        ("[retention]\nhistory_days = 40000", "retention.history_days", "0 to 36500 days"),
        ("[site]\nlatitude = 52.0", "site.longitude", "write all three"),
        ("[site]\nlatitude = 52.0\nlongitude = 5.0", "site.zone", "write all three"),
        ("[site]\nlatitude = 91.0\nlongitude = 5.0\nzone = \"UTC\"", "site.latitude", "-90"),
        ("[site]\nlatitude = 52.0\nlongitude = 181.0\nzone = \"UTC\"", "site.longitude", "-180"),
        ("[site]\nlatitude = 52.0\nlongitude = 5.0\nzone = \"Mars/X\"", "site.zone", "Europe/Amsterdam"),
        ("[site]\ntitle = \"a\\u0007\"", "site.title", "Heron House"),
        ("[log]\nlevel = \"loud\"", "log.level", "error, warn, info, debug and trace"),
        ("[log]\nformat = \"xml\"", "log.format", "neither text nor json"),
        ("http = 3", "http", "write [http]"),
    ];
    for (file, name, advice) in cases {
        let said = refused(file);
        assert!(said.contains(name) && said.contains(advice), "{file}\n{said}");
    }
}

#[test]
fn a_file_that_is_missing_or_no_toml_is_named() {
    let flags = Flags { config: Some(PathBuf::from("/no/such/file.toml")), ..Flags::default() };
    assert!(Sources::new(flags, []).read().unwrap_err().to_string().contains("/no/such/file.toml"));
    let said = refused("[http\n");
    assert!(said.contains("sconced.toml") && said.contains("line 1"), "{said}");
}

#[test]
fn a_password_file_is_read_without_its_line_break() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("password");
    let broker = Broker { password_file: Some(path.clone()), ..Broker::default() };
    assert_eq!(broker.read_password().unwrap_err().setting, "broker.password_file");
    std::fs::write(&path, "\n").unwrap();
    assert_eq!(broker.read_password().unwrap_err().setting, "broker.password_file");
    std::fs::write(&path, "two words\r\n").unwrap();
    assert_eq!(broker.read_password().unwrap(), Some(Secret::new("two words")));
}

#[test]
fn no_secret_is_shown_in_debug_output_or_in_a_difference() {
    let file = "[broker]\nurl = \"mqtt://b\"\nusername = \"u\"\npassword = \"pinewood\"\n";
    let settings = read(Some(file), &[], Flags::default()).unwrap();
    let shown = format!("{settings:?} {:?}", Settings::default().differing(&settings));
    assert!(shown.contains("broker.password") && !shown.contains("pinewood"), "{shown}");
}

#[test]
fn the_example_file_is_what_the_program_writes() {
    let kept = concat!(env!("CARGO_MANIFEST_DIR"), "/../../config/sconced.toml");
    let kept = std::fs::read_to_string(kept).unwrap();
    assert_eq!(kept, example(), "write it anew: sconced example-config > config/sconced.toml");
}

#[test]
fn the_example_file_holds_every_setting_and_uncommented_it_is_the_defaults() {
    let example = example();
    let is_setting =
        |line: &str| line.strip_prefix('#').is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_lowercase()));
    let uncommented: String = example
        .lines()
        .map(|line| if is_setting(line) { line.trim_start_matches('#') } else { line })
        .map(|line| format!("{line}\n"))
        .collect();
    assert_eq!(read(Some(&uncommented), &[], Flags::default()).unwrap(), Settings::default());
    assert_eq!(read(Some(&example), &[], Flags::default()).unwrap(), Settings::default());
    let table: toml::Table = uncommented.parse().unwrap();
    for (section, setting) in all_settings() {
        let is_set = table[section].as_table().unwrap().contains_key(setting.name);
        assert_eq!(is_set, setting.default.is_some(), "{section}.{}", setting.name);
        assert!(is_set || example.contains(&format!("\n# {} = ", setting.name)), "{section}.{}", setting.name);
    }
}

#[test]
fn the_examples_of_settings_without_a_default_can_be_used() {
    for (section, setting) in all_settings().into_iter().filter(|(_, setting)| setting.default.is_none()) {
        let example = setting.example.unwrap();
        let around = match (section, setting.name) {
            ("broker", "url") => "",
            ("broker", "username") => "url = \"mqtt://b\"\n",
            ("broker", "reload") => "url = \"mqtt://b\"\nusername = \"u\"\nfiles = \"f\"\n",
            ("broker", _) => "url = \"mqtt://b\"\nusername = \"u\"\n",
            ("site", "latitude") => "longitude = 1.0\nzone = \"UTC\"\n",
            ("site", "longitude") => "latitude = 1.0\nzone = \"UTC\"\n",
            ("site", "zone") => "latitude = 1.0\nlongitude = 1.0\n",
            _ => "",
        };
        let file = format!("[{section}]\n{around}{} = {example}\n", setting.name);
        read(Some(&file), &[], Flags::default()).unwrap();
    }
}
