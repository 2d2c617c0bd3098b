//! Several units against several good boards, from one folder of files.

use std::path::PathBuf;

use crate::bench::Bench;

/// The sample captures' files: four good boards, four faulty units, one more good one, and the
/// board's outline, parts and limits.
fn folder() -> Vec<PathBuf> {
    let tests = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let folder = tests.parent().expect("tests lie in the project").join("sample-captures");
    let captures = [
        "good-1.tiff",
        "good-2.tiff",
        "good-3.tiff",
        "good-4.tiff",
        "faulty-hot.tiff",
        "faulty-dead.tiff",
        "faulty-subtle.tiff",
        "faulty-buried.tiff",
    ];
    let with_sidecar = captures.iter().flat_map(|name| [(*name).to_owned(), format!("{name}.json")]);
    let tables = ["profile.gbr", "components-top.gbr", "limits.csv"].map(str::to_owned);
    with_sidecar.chain(tables).map(|name| folder.join(name)).collect()
}

#[tokio::test]
async fn a_folder_of_good_and_sick_boards_leads_to_a_verdict_on_each() {
    let bench = Bench::open().await;
    let files = folder();
    let files: Vec<_> = files.iter().map(PathBuf::as_path).collect();
    bench.choose_files("[data-testid=files]", &files).await;
    bench.compared().await;
    bench.open_step(4).await;
    let edge = bench.text("[data-testid=outline]").await;
    assert!(edge.contains("profile.gbr") && edge.contains("100.0 × 75.0 mm"), "{edge}");
    bench.open_step(5).await;
    bench.count_becomes("[data-testid=unit-row]", 4).await;
    let rows = || async {
        let rows = bench.text("[data-testid=units]").await;
        (!rows.contains("judged yet") && !rows.contains("being judged")).then_some(rows)
    };
    let rows = bench.until("all units judged", rows).await;
    // The seeded faults, as sample-captures/truth.json names them.
    for part in ["Q2", "U7", "C14", "C23"] {
        assert!(rows.contains(part), "{part} in {rows}");
    }
    assert_eq!(rows.matches("suggested: fail").count(), 4, "{rows}");
    assert!(bench.text("[data-testid=whole-unit]").await.contains("Beside its findings"));

    // A verdict stays with its unit.
    bench.open_step(7).await;
    let reasons = bench.text("[data-testid=suggestion]").await;
    assert!(reasons.contains("than good boards"), "{reasons}");
    bench.press("[data-testid=take-suggestion]").await;
    bench.count_becomes("[data-testid=stamp]", 1).await;
    bench.open_step(5).await;
    bench.press("[data-testid=unit-row]:nth-child(2) button").await;
    bench.compared().await;
    bench.open_step(7).await;
    bench.count_becomes("[data-testid=stamp]", 0).await;
    bench.open_step(5).await;
    bench.press("[data-testid=unit-row]:nth-child(1) button").await;
    bench.compared().await;
    bench.open_step(7).await;
    bench.count_becomes("[data-testid=stamp]", 1).await;

    // The good boards, kept as one file, are a baseline again.
    bench.press("[data-testid=save-baseline]").await;
    let kept = bench.downloaded("-baseline.html").await;
    bench.open_step(2).await;
    bench.press("[data-testid=start-afresh]").await;
    bench.count_becomes("[data-testid=load-sample]", 1).await;
    bench.choose_files("[data-testid=files]", &[&kept]).await;
    bench.open_step(2).await;
    bench.count_becomes("[data-testid=capture]", 4).await;
    let unit: Vec<_> =
        files.iter().filter(|file| file.to_string_lossy().contains("faulty-hot")).copied().collect();
    bench.choose_files("[data-testid=add-files]", &unit).await;
    assert!(bench.compared().await.contains("Q2"));
    bench.close_clean().await;
}

#[tokio::test]
async fn a_unit_without_any_known_good_board_is_held_against_itself() {
    let bench = Bench::open().await;
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../sample-captures");
    let files: Vec<_> = ["faulty-hot.tiff", "faulty-hot.tiff.json", "placement.csv"]
        .map(|name| folder.join(name).canonicalize().expect("a sample file"))
        .into();
    let files: Vec<_> = files.iter().map(PathBuf::as_path).collect();
    bench.choose_files("[data-testid=files]", &files).await;
    let told = || async { bench.answer(5).await.contains("No known-good board").then_some(()) };
    bench.until("parts of one kind held against each other", told).await;
    bench.open_step(5).await;
    // What is wrong with this unit is Q2, the only part of its kind, by sample-captures; eight kinds have two parts or more.
    let heading = bench.text("[data-testid=twins-heading]").await;
    assert_eq!(heading.trim(), "No part stands out among its like (8 kinds looked at).");
    bench.count_becomes("[data-testid=twin-groups] tbody tr", 8).await;
    bench.press("[data-testid=save-twins]").await;
    let table = std::fs::read_to_string(bench.downloaded("-twins.csv").await).expect("a table");
    // Eight capacitors of 100 nF in one package, by sample-captures/placement.csv.
    assert_eq!(table.matches("\"C, 0603, 100 nF\"").count(), 8, "{table}");
    // The same as a file that leads back to the session.
    bench.open_step(7).await;
    bench.press("[data-testid=save-result]").await;
    let sheet = std::fs::read_to_string(bench.downloaded("-result.html").await).expect("a result file");
    assert!(sheet.contains("No part stands out among its like (8 kinds looked at)."));
    let restored = analysis::result::read_result("result.html", &sheet).expect("a session");
    assert_eq!(restored.captures.len(), 1);
    bench.close_clean().await;
}
