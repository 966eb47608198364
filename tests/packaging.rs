//! Completions and manual pages of the built command.

#![allow(clippy::unwrap_used, reason = "helpers of tests fail like tests")]

mod support;

use std::fs;
use std::process::Command;
use support::Bench;

/// The commands that the help names.
fn commands(help: &str) -> Vec<&str> {
    let list = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let names = list.lines().filter_map(|line| line.strip_prefix("  ")?.split(' ').next());
    names.filter(|name| !name.is_empty() && *name != "help").collect()
}

#[test]
fn every_shell_gets_the_commands_and_their_options() {
    let bench = Bench::new();
    let help = bench.run(&["--help"]).stdout;
    assert!(commands(&help).len() > 10, "{help}");
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let run = bench.run(&["completions", shell]);
        assert_eq!((run.code, run.stderr.as_str()), (0, ""), "{shell}");
        for word in commands(&help).into_iter().chain(["px-per-mm", "move-out"]) {
            assert!(run.stdout.contains(word), "{shell}: {word}");
        }
    }
}

/// `-n` reads the commands and runs none (bash manual, set).
#[cfg(unix)]
#[test]
fn bash_takes_its_completions() {
    let bench = Bench::new();
    bench.put("script", bench.run(&["completions", "bash"]).stdout);
    let Ok(read) = Command::new("bash").arg("-n").arg(bench.path("script")).output() else { return };
    assert!(read.status.success() && read.stderr.is_empty(), "{}", String::from_utf8_lossy(&read.stderr));
}

#[test]
fn every_command_has_a_page_with_its_examples() {
    let bench = Bench::new();
    let run = bench.run(&["man", "share/man1"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    let (help, book) = (bench.run(&["--help"]).stdout, bench.run(&["book", "--help"]).stdout);
    let mut names: Vec<String> = commands(&help).iter().map(|name| format!("variegauge-{name}")).collect();
    names.push("variegauge".into());
    for name in &names {
        let page = bench.text(&format!("share/man1/{name}.1"));
        assert!(page.contains(&format!(".TH {name} 1")) && page.contains(".SH EXAMPLES\n.nf\n  variegauge "), "{page}");
    }
    names.extend(commands(&book).iter().map(|name| format!("variegauge-book-{name}")));
    assert_eq!(fs::read_dir(bench.path("share/man1")).unwrap().count(), names.len());
    assert!(run.stderr.contains(&format!("wrote {} pages", names.len())), "{}", run.stderr);
    bench.put("file", "");
    assert_eq!(bench.run(&["man", "file"]).code, 4);
}
