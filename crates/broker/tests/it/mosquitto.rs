//! Debian's mosquitto: its clients at our broker, and its broker with our files.
//!
//! Where it is not installed these tests say so and do nothing; with `CI=true` in the environment they fail.

use crate::clients::{Client, HALL, House, STAIRS, within};
use broker::external::{ExternalFiles, password_line};
use broker::{BrokerError, Prefix};
use rumqttc::{ConnectReturnCode, LastWill, MqttOptions, QoS};
use std::io::Write;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

/// Where the program is, or a loud word that it is not.
fn program(name: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let found = std::env::split_paths(&path)
        .chain([PathBuf::from("/usr/sbin"), PathBuf::from("/usr/local/sbin")])
        .map(|folder| folder.join(name))
        .find(|file| file.is_file());
    if found.is_none() {
        assert_ne!(std::env::var("CI").as_deref(), Ok("true"), "{name} is not installed");
        // Written past the test harness, which would swallow it.
        let mut loud = std::io::stderr();
        writeln!(loud, "SKIPPED: {name} is not installed; on Debian: apt-get install mosquitto mosquitto-clients")
            .unwrap();
    }
    found
}

async fn output(mut command: Command) -> Output {
    let running = tokio::task::spawn_blocking(move || command.output().unwrap());
    within("a mosquitto client", running).await.unwrap()
}

fn at(program: &Path, addr: SocketAddr, (username, secret): (&str, &str)) -> Command {
    let mut command = Command::new(program);
    command.args(["-h", &addr.ip().to_string(), "-p", &addr.port().to_string()]).args(["-u", username, "-P", secret]);
    command
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn mosquittos_clients_publish_and_subscribe_in_both_versions() {
    let (Some(publisher), Some(subscriber)) = (program("mosquitto_pub"), program("mosquitto_sub")) else {
        return;
    };
    let house = House::open().await;
    let mut daemon = house.daemon().await;
    for version in ["mqttv311", "mqttv5"] {
        let mut command = at(&publisher, house.addr(), STAIRS);
        command.args(["-V", version, "-q", "1", "-t", "fixtures/stairs/boot", "-m", version]);
        let done = output(command).await;
        assert!(done.status.success(), "{done:?}");
        daemon.hear_next("fixtures/stairs/boot", version).await;

        daemon.publish("fixtures/stairs/desired", version, true).await;
        let mut command = at(&subscriber, house.addr(), STAIRS);
        command.args(["-V", version, "-C", "1", "-W", "50", "-t", "fixtures/stairs/desired"]);
        let done = output(command).await;
        assert_eq!(String::from_utf8_lossy(&done.stdout).trim(), version, "{done:?}");

        let mut command = at(&subscriber, house.addr(), STAIRS);
        command.args(["-V", version, "-C", "1", "-W", "50", "-t", "fixtures/hall/desired"]);
        let done = output(command).await;
        // 2.0.11 says so and exits with 0 all the same.
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(said.contains("denied") && done.stdout.is_empty(), "another's topic was granted: {done:?}");

        let mut command = at(&publisher, house.addr(), ("stairs", "guess"));
        command.args(["-V", version, "-t", "fixtures/stairs/boot", "-m", "x"]);
        assert!(!output(command).await.status.success());
    }
    // Refused, with an acknowledgement that a 3.1.1 client can read.
    let mut command = at(&publisher, house.addr(), STAIRS);
    command.args(["-V", "mqttv311", "-q", "1", "-t", "fixtures/hall/boot", "-m", "forged"]);
    let done = output(command).await;
    assert!(done.status.success(), "{done:?}");
}

/// A real mosquitto with our files. Killed when dropped.
struct External {
    child: Child,
    addr: SocketAddr,
    files: ExternalFiles,
    folder: tempfile::TempDir,
}

impl Drop for External {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

const DAEMON: (&str, &str) = ("sconced", "secret of the daemon");

impl External {
    async fn start(program: &Path) -> Self {
        loop {
            let folder = tempfile::tempdir().unwrap();
            let files = ExternalFiles::new(folder.path());
            for (username, secret) in [DAEMON, STAIRS, HALL] {
                files.set(username, &password_line(username, secret).unwrap()).unwrap();
            }
            files.write_access(&Prefix::default(), DAEMON.0).unwrap();
            // It cannot be given port 0: take a free one, and another if somebody was faster.
            let addr = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
            // As root it would change its user and not be able to read the files.
            let config = format!(
                "user root\nlistener {} 127.0.0.1\nallow_anonymous false\npassword_file {}\nacl_file {}\npersistence false\n",
                addr.port(),
                files.password_path().display(),
                files.access_path().display()
            );
            let config_path = folder.path().join("mosquitto.conf");
            std::fs::write(&config_path, config).unwrap();
            let child = Command::new(program)
                .arg("-c")
                .arg(&config_path)
                .stdout(Stdio::null())
                .stderr(std::fs::File::create(folder.path().join("log")).unwrap())
                .spawn()
                .unwrap();
            let mut external = Self { child, addr, files, folder };
            if within("mosquitto to listen", external.listens()).await {
                return external;
            }
            let log = std::fs::read_to_string(external.folder.path().join("log")).unwrap();
            assert!(log.contains("in use"), "{log}");
        }
    }

    async fn listens(&mut self) -> bool {
        loop {
            if self.child.try_wait().unwrap().is_some() {
                return false;
            }
            if tokio::net::TcpStream::connect(self.addr).await.is_ok() {
                return true;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    fn options(&self, client_id: &str, (username, secret): (&str, &str)) -> MqttOptions {
        let mut options = MqttOptions::new(client_id, self.addr.ip().to_string(), self.addr.port());
        options.set_credentials(username, secret);
        options
    }

    async fn reload(&self) {
        let mut command = Command::new("kill");
        command.args(["-HUP", &self.child.id().to_string()]);
        assert!(output(command).await.status.success());
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn mosquitto_takes_our_files_and_keeps_the_same_rules() {
    let Some(program) = program("mosquitto") else {
        return;
    };
    let external = External::start(&program).await;
    for wrong in [("stairs", "guess"), ("stairs", HALL.1), ("nobody", STAIRS.1)] {
        let code = Client::refused(external.options("x", wrong)).await;
        assert!(matches!(code, ConnectReturnCode::NotAuthorized | ConnectReturnCode::BadUserNamePassword), "{code:?}");
    }
    let mut daemon = Client::connect(external.options("daemon", DAEMON)).await;
    for filter in Prefix::default().up_filters() {
        assert!(daemon.subscribe(&filter).await);
    }
    let mut stairs = Client::connect(external.options("stairs", STAIRS)).await;
    let mut hall = Client::connect(external.options("hall", HALL)).await;
    // Mosquitto grants any filter and then delivers only what may be read.
    for filter in ["fixtures/#", "#", "$SYS/#", "fixtures/stairs/desired"] {
        hall.subscribe(filter).await;
    }
    assert!(stairs.subscribe("fixtures/stairs/desired").await);

    stairs.publish("fixtures/hall/boot", "forged", false).await;
    stairs.publish("fixtures/hall/desired", "forged", true).await;
    stairs.publish("fixtures/stairs/desired", "forged", true).await;
    stairs.publish("fixtures/stairs/boot", "own", false).await;
    daemon.hear_next("fixtures/stairs/boot", "own").await;
    daemon.publish("fixtures/stairs/desired", "for the stairs", false).await;
    stairs.hear_next("fixtures/stairs/desired", "for the stairs").await;
    daemon.publish("fixtures/hall/desired", "for the hall", false).await;
    hall.hear_next("fixtures/hall/desired", "for the hall").await;

    let mut options = external.options("will", HALL);
    options.set_last_will(LastWill::new("fixtures/stairs/alive", "forged", QoS::AtLeastOnce, false));
    drop(Client::try_connect(options).await);
    hall.publish("fixtures/hall/ask", "marker", false).await;
    daemon.hear_next("fixtures/hall/ask", "marker").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn mosquitto_reads_changed_files_again() {
    let Some(program) = program("mosquitto") else {
        return;
    };
    let external = External::start(&program).await;
    Client::connect(external.options("stairs", STAIRS)).await;
    let replaced = ("stairs", "another secret");
    external.files.set("stairs", &password_line("stairs", replaced.1).unwrap()).unwrap();
    assert!(external.files.remove("hall").unwrap());
    external.reload().await;
    within("the new secret to be taken", async {
        while Client::try_connect(external.options("stairs", replaced)).await.is_err() {
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    })
    .await;
    Client::refused(external.options("stairs", STAIRS)).await;
    Client::refused(external.options("hall", HALL)).await;
}

#[test]
fn lines_are_replaced_in_place_and_others_stay() {
    let folder = tempfile::tempdir().unwrap();
    let files = ExternalFiles::new(folder.path());
    std::fs::write(files.password_path(), "# the owner's\nother:$7$101$a$b\nstairs:$7$101$a$b\nlast:$6$x\n").unwrap();
    let line = password_line("stairs", "x").unwrap();
    files.set("stairs", &line).unwrap();
    let text = || std::fs::read_to_string(files.password_path()).unwrap();
    assert_eq!(text(), format!("# the owner's\nother:$7$101$a$b\n{line}\nlast:$6$x\n"));
    let hall = password_line("hall", "x").unwrap();
    files.set("hall", &hall).unwrap();
    assert!(files.remove("stairs").unwrap());
    assert!(!files.remove("stairs").unwrap());
    assert_eq!(text(), format!("# the owner's\nother:$7$101$a$b\nlast:$6$x\n{hall}\n"));
}

#[test]
fn a_line_for_another_name_or_of_two_lines_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let files = ExternalFiles::new(folder.path());
    for line in ["hall:$7$x", "stairs", "stairs:plain", "stairs:$7$x\nroot:$7$y", "stairs2:$7$x", ""] {
        assert!(matches!(files.set("stairs", line), Err(BrokerError::PasswordLine(_))), "{line:?}");
    }
    assert!(matches!(files.set("a:b", "a:b:$7$x"), Err(BrokerError::Username(_))));
    assert!(!files.password_path().exists());
}

#[cfg(unix)]
#[test]
fn files_are_readable_by_their_owner_only_and_nothing_is_left_beside_them() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let files = ExternalFiles::new(folder.path());
    files.set("stairs", &password_line("stairs", "x").unwrap()).unwrap();
    files.write_access(&Prefix::default(), "sconced").unwrap();
    assert_eq!((mode(&files.password_path()), mode(&files.access_path())), (0o600, 0o600));
    let files = ExternalFiles::new(folder.path()).with_mode(0o640);
    files.write_access(&Prefix::default(), "sconced").unwrap();
    assert_eq!(mode(&files.access_path()), 0o640);
    let mut names: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, ["access", "passwords"]);
}

#[test]
fn a_folder_that_is_not_there_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let files = ExternalFiles::new(folder.path().join("missing"));
    let error = files.write_access(&Prefix::default(), "sconced").unwrap_err();
    assert!(matches!(error, BrokerError::File { doing: "write", .. }));
    assert!(error.to_string().contains("missing"), "{error}");
}

#[test]
fn changes_from_many_threads_all_arrive() {
    let folder = tempfile::tempdir().unwrap();
    let files = ExternalFiles::new(folder.path());
    std::thread::scope(|scope| {
        for n in 0..8 {
            let files = &files;
            scope.spawn(move || {
                let name = format!("fixture-{n}");
                files.set(&name, &password_line(&name, "x").unwrap()).unwrap();
            });
        }
    });
    let text = std::fs::read_to_string(files.password_path()).unwrap();
    assert_eq!(text.lines().count(), 8, "{text}");
}
