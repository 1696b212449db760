//! The commands as a user meets them: exit codes, messages, nothing lost.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lampwright"));
    command.stdin(Stdio::null());
    command
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    program().current_dir(folder).args(arguments).output().unwrap()
}

fn folder(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("lampwright-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

fn lines(text: &str) -> Stdio {
    use std::io::{Seek, Write};
    let path = std::env::temp_dir().join(format!("lampwright-{}-{:x}", std::process::id(), text.len()));
    let mut file = std::fs::File::options().create(true).truncate(true).read(true).write(true).open(path).unwrap();
    file.write_all(text.as_bytes()).unwrap();
    file.rewind().unwrap();
    file.into()
}

#[test]
fn the_sample_walks_by_itself_and_may_be_run_again() {
    let folder = folder("sample");
    for _ in 0..2 {
        let output = run(&folder, &["walk", "isolate", "--sample"]);
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    }
    let text = std::fs::read_to_string(folder.join("sample-job/job.txt")).unwrap();
    assert!(text.contains("REHEARSAL") && text.contains("finished") && text.contains("GATE EVIDENCE"), "{text}");
    let look = run(&folder, &["look", "sample-job"]);
    assert_eq!(look.status.code(), Some(0), "{}", said(&look));
    assert!(said(&run(&folder, &["look"])).contains("sample-job"));
}

#[test]
fn the_sample_of_the_main_job_leaves_its_record() {
    let folder = folder("main");
    let output = run(&folder, &["walk", "downlights", "--sample"]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let text = std::fs::read_to_string(folder.join("sample-job/job.txt")).unwrap();
    for part in ["State: finished", "KIT AND MATERIALS", "CEILING PLAN", "JUNCTION", "TESTS", "GATE EVIDENCE"] {
        assert!(text.contains(part), "{part} is missing");
    }
}

#[test]
fn a_rehearsal_is_no_job_to_go_on_with() {
    let folder = folder("no-job");
    run(&folder, &["walk", "isolate", "--sample"]);
    let output = run(&folder, &["walk", "--job", "sample-job"]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("rehearsal"));
}

#[test]
fn a_folder_that_is_no_rehearsal_is_left_alone() {
    let folder = folder("alone");
    std::fs::create_dir(folder.join("sample-job")).unwrap();
    std::fs::write(folder.join("sample-job/letter.txt"), "keep me").unwrap();
    let output = run(&folder, &["walk", "isolate", "--sample"]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(folder.join("sample-job/letter.txt").exists());
}

#[test]
fn a_job_is_walked_saved_and_gone_on_with() {
    let folder = folder("job");
    let walk = |typed: &str| {
        let output = program()
            .current_dir(&folder)
            .args(["walk", "isolate", "--plain", "--job", "mine"])
            .stdin(lines(typed))
            .output()
            .unwrap();
        (output.status.code(), said(&output))
    };
    let (code, text) = walk("A\ny\nRCBO\n");
    assert_eq!(code, Some(130), "{text}");
    assert!(text.contains("saved") && text.contains("Go on with: lampwright walk --job mine"), "{text}");
    let (code, text) = walk("1\nstop\n");
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("Going on with mine"), "{text}");
    assert!(text.contains("RCBO"), "the last action is shown with its value: {text}");
    let look = said(&run(&folder, &["look", "mine"]));
    assert!(look.contains("iso.lock"), "{look}");
}

#[test]
fn a_damaged_ledger_is_located_and_nothing_is_written() {
    let folder = folder("damaged");
    run(&folder, &["walk", "isolate", "--sample"]);
    let path = folder.join("sample-job/ledger.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    let changed = text.replacen("RCBO", "RCBX", 1);
    assert_ne!(text, changed);
    std::fs::write(&path, &changed).unwrap();
    let look = run(&folder, &["look", "sample-job"]);
    assert_eq!(look.status.code(), Some(4), "{}", said(&look));
    let walk = run(&folder, &["walk", "--job", "sample-job"]);
    assert_eq!(walk.status.code(), Some(4), "{}", said(&walk));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), changed);
}

#[test]
fn usage_is_answered_with_what_to_do() {
    let folder = folder("usage");
    for (arguments, code, words) in [
        (vec!["walk", "nothing-like-this"], 2, "The procedures are"),
        (vec!["walk"], 2, "name a procedure"),
        (vec!["figure", "weather", "-"], 2, "there are"),
        (vec!["fly"], 2, "Usage"),
    ] {
        let output = run(&folder, &arguments);
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {}", said(&output));
        assert!(said(&output).contains(words), "{arguments:?}: {}", said(&output));
    }
}

#[test]
fn a_broken_script_is_shown_with_its_word_underlined() {
    let folder = folder("broken");
    let procedure = folder.join("mine");
    std::fs::create_dir(&procedure).unwrap();
    let toml = "title = \"t\"\nrevision = 1\n[[stage]]\nfile = \"a.rhai\"\ntitle = \"A\"\nplace = \"here\"\nstop_if = [\"x\"]\n";
    std::fs::write(procedure.join("procedure.toml"), toml).unwrap();
    std::fs::write(procedure.join("a.rhai"), "fn stage() {\n    stp(\"a\", #{ text: \"x\" });\n    finish();\n}\n")
        .unwrap();
    let output = program()
        .current_dir(&folder)
        .args(["walk", "mine", "--plain", "--job", "j"])
        .stdin(lines("A\n"))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(5), "{}", said(&output));
    let text = said(&output);
    assert!(text.contains("a.rhai:2") && text.contains('^'), "{text}");
}

#[test]
fn a_rehearsal_with_a_key_that_is_not_asked_names_both_and_the_line() {
    let folder = folder("key");
    let text = "procedure = \"isolate\"\nbegins = \"2026-03-02T09:00\"\nperson = \"A\"\nends = \"finished\"\n\n\
        [[reply]]\nto = \"iso.colour\"\nvalue = \"red\"\n";
    std::fs::write(folder.join("r.toml"), text).unwrap();
    let output = run(&folder, &["walk", "isolate", "--rehearse", "r.toml"]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    let text = said(&output);
    assert!(text.contains("iso.detector") && text.contains("iso.colour") && text.contains("line 6"), "{text}");
}

/// A walk that waits for its next line.
struct Waiting {
    child: std::process::Child,
    typing: std::process::ChildStdin,
    screen: std::sync::mpsc::Receiver<String>,
}

impl Waiting {
    fn start(folder: &Path) -> Self {
        use std::io::BufRead;
        let mut child = program()
            .current_dir(folder)
            .args(["walk", "isolate", "--plain", "--job", "mine"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let typing = child.stdin.take().unwrap();
        let output = child.stdout.take().unwrap();
        let (send, screen) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            for line in std::io::BufReader::new(output).lines().map_while(Result::ok) {
                if send.send(line).is_err() {
                    break;
                }
            }
        });
        Self { child, typing, screen }
    }

    /// Types a line and waits until the screen has said this.
    fn type_until(&mut self, line: &str, wanted: &str) {
        use std::io::Write;
        writeln!(self.typing, "{line}").unwrap();
        let patience = std::time::Duration::from_secs(30);
        loop {
            let shown = self.screen.recv_timeout(patience).unwrap_or_else(|_| panic!("`{wanted}` never came"));
            if shown.contains(wanted) {
                return;
            }
        }
    }
}

#[test]
fn killed_outright_nothing_acknowledged_is_lost() {
    let folder = folder("killed");
    let mut waiting = Waiting::start(&folder);
    waiting.type_until("A", "kept in");
    waiting.type_until("y", "saved");
    waiting.type_until("RCBO", "saved");
    waiting.child.kill().unwrap();
    waiting.child.wait().unwrap();
    let look = said(&run(&folder, &["look", "mine"]));
    assert!(look.contains("at iso.main") && look.contains("RCBO"), "{look}");
    let mut again = Waiting::start(&folder);
    again.type_until("1", "saved");
    again.child.kill().unwrap();
    again.child.wait().unwrap();
    assert!(said(&run(&folder, &["look", "mine"])).contains("at iso.lock"));
}

#[test]
fn a_held_ledger_names_its_holder_and_is_still_readable() {
    let folder = folder("held");
    let mut waiting = Waiting::start(&folder);
    waiting.type_until("A", "kept in");
    waiting.type_until("y", "saved");
    let second =
        program().current_dir(&folder).args(["walk", "--plain", "--job", "mine"]).stdin(lines("1\n")).output().unwrap();
    assert_eq!(second.status.code(), Some(7), "{}", said(&second));
    assert!(said(&second).contains(&waiting.child.id().to_string()), "{}", said(&second));
    assert_eq!(run(&folder, &["look", "mine"]).status.code(), Some(0));
    waiting.child.kill().unwrap();
    waiting.child.wait().unwrap();
}
