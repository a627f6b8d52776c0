//! Compiling C against the static library, as firmware does.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

use cargo_metadata::Message;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// Builds the static library of this crate by `cargo build`, or by another of its commands, and says where it is.
pub(crate) fn build(command: &str, flags: &[&str]) -> PathBuf {
    let done = Command::new(env!("CARGO"))
        .args([command, "--locked", "--offline", "--quiet", "--package", "device-c", "--message-format", "json"])
        .args(flags)
        .current_dir(Path::new(ROOT).join("../.."))
        .output()
        .expect("cargo runs");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    Message::parse_stream(done.stdout.as_slice())
        .filter_map(|message| match message.unwrap() {
            Message::CompilerArtifact(artifact) if artifact.target.name == "sconced_device" => Some(artifact.filenames),
            _ => None,
        })
        .flatten()
        .find(|file| file.extension() == Some("a"))
        .expect("cargo names a static library")
        .into_std_path_buf()
}

fn library() -> &'static Path {
    static LIBRARY: OnceLock<PathBuf> = OnceLock::new();
    LIBRARY.get_or_init(|| build("build", &[]))
}

/// A program in C, and how it is watched while it runs.
#[derive(Clone, Copy)]
pub(crate) enum Watched {
    /// By the compiler: AddressSanitizer and UndefinedBehaviorSanitizer.
    BySanitizers,
    /// By valgrind, which sees also what the library does to the program's memory.
    ByValgrind,
}

/// A compiled program.
pub(crate) struct Program {
    folder: tempfile::TempDir,
    watched: Watched,
}

impl Program {
    /// Compiles `tests/c/NAME.c`, strictly.
    pub(crate) fn compile(name: &str, watched: Watched) -> Self {
        Self::compile_against(library(), name, watched)
    }

    /// The same with another static library.
    pub(crate) fn compile_against(library: &Path, name: &str, watched: Watched) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut compiler = Command::new("cc");
        compiler.args(["-std=c11", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-g", "-O1"]);
        if matches!(watched, Watched::BySanitizers) {
            compiler.args(["-fsanitize=address,undefined", "-fno-sanitize-recover=all"]);
        }
        let done = compiler
            .arg(format!("{ROOT}/tests/c/{name}.c"))
            .args(["-I", &format!("{ROOT}/include"), "-o"])
            .arg(folder.path().join("program"))
            .arg(library)
            .args(["-lpthread", "-ldl", "-lm"])
            .output()
            .expect("a C compiler: install the Debian package gcc");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        Self { folder, watched }
    }

    /// Runs it on an input and gives what it prints. Nothing when there is no valgrind to run it; under CI that fails.
    pub(crate) fn run(&self, input: &str) -> Option<String> {
        let program = self.folder.path().join("program");
        let mut command = match self.watched {
            Watched::BySanitizers => Command::new(&program),
            Watched::ByValgrind => {
                if Command::new("valgrind").arg("--version").output().is_err() {
                    assert!(std::env::var_os("CI").is_none(), "valgrind is missing: install the Debian package");
                    eprintln!("not run: valgrind is missing (install the Debian package)");
                    return None;
                }
                let mut command = Command::new("valgrind");
                command.args(["--quiet", "--error-exitcode=99", "--leak-check=full"]).arg(&program);
                command
            }
        };
        let given = self.folder.path().join("input");
        std::fs::write(&given, input).unwrap();
        let Output { status, stdout, stderr } =
            command.stdin(Stdio::from(std::fs::File::open(given).unwrap())).output().expect("the program runs");
        let (stdout, stderr) = (String::from_utf8(stdout).unwrap(), String::from_utf8_lossy(&stderr));
        assert!(status.success(), "{status}\n{stderr}\n{stdout}");
        Some(stdout)
    }
}
