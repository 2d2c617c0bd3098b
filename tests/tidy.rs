//! The house rules that a machine can check.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The longest a source file may be, tests included.
const LONGEST_FILE: usize = 600;

/// The floors of `analysis`, as DEVELOPERS.md tells them: a module uses only modules on lower floors.
const FLOORS: &[(usize, &[&str])] = &[
    (0, &["content_hash", "units", "geometry", "frame", "quantile"]),
    (1, &["palette", "homography_fit", "radiometry", "noise", "gradient", "propagation"]),
    (2, &["capture", "surface", "board", "registration"]),
    (3, &["inspection", "procedure", "capability", "sequence", "uncertainty", "population"]),
    (4, &["session"]),
    (5, &["comparison"]),
    (6, &["measured_place", "recorded_frame", "repeat_study", "soaked_board", "synthetic"]),
    (7, &["result"]),
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ lies in the repository").to_owned()
}

/// Every file below `folder` with this extension, with its path from the root and its text.
fn sources(folder: &str, extension: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder of the repository").flatten() {
            let path = entry.path();
            if path.is_dir() {
                if !["target", "dist", "node_modules"].iter().any(|built| path.ends_with(built)) {
                    folders.push(path);
                }
            } else if path.extension().is_some_and(|found| found == extension) {
                let text = std::fs::read_to_string(&path).expect("sources are UTF-8");
                let name = path.strip_prefix(root()).expect("below the root").to_string_lossy().into_owned();
                found.push((name, text));
            }
        }
    }
    found.sort();
    assert!(!found.is_empty(), "no .{extension} files below {folder}");
    found
}

fn rust_sources() -> Vec<(String, String)> {
    ["analysis", "app", "tests"].iter().flat_map(|folder| sources(folder, "rs")).collect()
}

fn complain(what: &str, offences: &[String]) {
    assert!(offences.is_empty(), "{what}:\n  {}", offences.join("\n  "));
}

#[test]
fn every_file_opens_by_saying_what_it_is_for() {
    let silent: Vec<_> = rust_sources()
        .into_iter()
        .filter(|(_, text)| !text.starts_with("//! "))
        .map(|(name, _)| name)
        .collect();
    complain("files without a //! line at the top", &silent);
}

#[test]
fn no_file_outgrows_a_sitting() {
    let long: Vec<_> = rust_sources()
        .into_iter()
        .filter(|(_, text)| text.lines().count() > LONGEST_FILE)
        .map(|(name, text)| format!("{name}: {} lines", text.lines().count()))
        .collect();
    complain(&format!("files over {LONGEST_FILE} lines"), &long);
}

#[test]
fn names_say_what_is_inside() {
    let vague = ["utils", "util", "helpers", "helper", "common", "misc", "types", "stuff"];
    let offences: Vec<_> = rust_sources()
        .into_iter()
        .map(|(name, _)| name)
        .filter(|name| name.split(['/', '.']).any(|part| vague.contains(&part)))
        .collect();
    complain("names that say nothing", &offences);
}

#[test]
fn analysis_imports_only_downward() {
    let floor_of: BTreeMap<&str, usize> =
        FLOORS.iter().flat_map(|(floor, modules)| modules.iter().map(|module| (*module, *floor))).collect();
    let mut offences = Vec::new();
    for (name, text) in sources("analysis/src", "rs") {
        let own =
            name.trim_start_matches("analysis/src/").split(['/', '.']).next().unwrap_or_default().to_owned();
        if ["lib", "bin"].contains(&own.as_str()) {
            continue;
        }
        let Some(&own_floor) = floor_of.get(own.as_str()) else {
            offences.push(format!("{name}: module {own} stands on no floor; give it one"));
            continue;
        };
        // What a file's tests use is not part of the architecture.
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        for (number, line) in code.lines().enumerate() {
            for used in line.split("crate::").skip(1) {
                let used: String = used.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
                let downward =
                    used == own || floor_of.get(used.as_str()).is_some_and(|&floor| floor < own_floor);
                if floor_of.contains_key(used.as_str()) && !downward && !line.trim_start().starts_with("//") {
                    offences.push(format!("{name}:{}: {own} uses {used}, which is not below it", number + 1));
                }
            }
        }
    }
    complain("imports that do not lead downward", &offences);
}

#[test]
fn analysis_knows_no_browser() {
    // The library that writes workbooks asks the browser for the date and for random numbers by itself;
    // what it puts into the file comes from its caller all the same. The one that reads Gerber files brings a
    // calendar for dates in them that could ask for the time, and never does.
    let tree = std::process::Command::new(env!("CARGO"))
        .args(["tree", "--prune", "rust_xlsxwriter", "--prune", "gerber-types"])
        .args(["--package", "analysis", "--edges", "normal", "--prefix", "none"])
        .args(["--target", "wasm32-unknown-unknown", "--all-features"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    let tree = String::from_utf8_lossy(&tree.stdout).into_owned();
    assert!(tree.starts_with("analysis"), "cargo tree said nothing");
    let web: Vec<_> = tree
        .lines()
        .filter(|line| {
            ["web-sys", "js-sys", "wasm-bindgen", "leptos", "gloo"].iter().any(|web| line.starts_with(web))
        })
        .map(str::to_owned)
        .collect();
    complain("web crates below analysis", &web);
}

#[test]
fn the_page_holds_no_physics() {
    // Constants and functions that belong to radiometry, wherever they might be copied to.
    let physics = ["5.670374", "1.4387", "14387", "exp_m1", "6.62607", "1.380649"];
    let offences: Vec<_> = sources("app/src", "rs")
        .into_iter()
        .flat_map(|(name, text)| {
            physics
                .iter()
                .filter(|word| text.contains(**word))
                .map(|word| format!("{name}: {word}"))
                .collect::<Vec<_>>()
        })
        .collect();
    complain("physics in the page", &offences);
}

#[test]
fn only_the_platform_folder_talks_to_the_browser() {
    let offences: Vec<_> = sources("app/src", "rs")
        .into_iter()
        .filter(|(name, text)| !name.starts_with("app/src/platform/") && text.contains("web_sys::window"))
        .map(|(name, _)| name)
        .collect();
    complain("files outside app/src/platform that reach for the browser's window", &offences);
}

#[test]
fn the_top_level_holds_what_the_map_lists() {
    let listed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "app",
        "analysis",
        "public",
        "tests",
        "sample-captures",
        "Trunk.toml",
        "LICENSE",
        "target",
        "dist",
    ];
    let strangers: Vec<_> = std::fs::read_dir(root())
        .expect("the root")
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && !listed.contains(&name.as_str()))
        .collect();
    complain("entries at the top level that nobody listed", &strangers);
}

#[test]
fn every_sample_file_is_described() {
    let folder = root().join("sample-captures");
    let readme = std::fs::read_to_string(folder.join("README.md")).expect("sample-captures/README.md");
    assert!(readme.to_lowercase().contains("invented"), "the samples are not called invented");
    let silent: Vec<_> = std::fs::read_dir(&folder)
        .expect("sample-captures")
        .flatten()
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| name != "README.md" && !readme.contains(name.trim_end_matches(".json")))
        .collect();
    complain("sample files that their README does not name", &silent);
}
