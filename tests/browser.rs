//! The built page in headless Chromium, driven as a person would drive it.
//!
//! `tests/run.sh` builds the page first. Each journey has a browser, a profile and a server of its own.

#[path = "browser/bench.rs"]
mod bench;
#[path = "browser/page_server.rs"]
mod page_server;
#[path = "browser/recordings.rs"]
mod recordings;
#[path = "browser/sheet.rs"]
mod sheet;
#[path = "browser/units.rs"]
mod units;

use bench::Bench;

#[tokio::test]
async fn the_main_job_from_the_sample_board_to_a_result_and_back() {
    let bench = Bench::open().await;
    let requests = bench.server.requests();
    let resources = bench.resources().await;

    bench.load_sample().await;
    assert!(bench.compared().await.contains("Q2"), "the lamp switch is the seeded fault");

    bench.open_step(3).await;
    bench.press("[data-testid=tool-rectangle]").await;
    bench.drag_on_picture(40.0, 30.0).await;
    bench.count_becomes("[data-testid=region]", 1).await;

    bench.open_step(5).await;
    assert!(bench.compared().await.contains("Q2"));
    assert!(bench.text("[data-testid=finding-1]").await.contains("Q2"));

    bench.open_step(6).await;
    bench.fill("[data-testid=probe-1-read]", "0.4").await;

    bench.open_step(7).await;
    bench.fill("[data-testid=verdict-reason]", "lamp switch leaks; <b>bold</b> & \"quoted\"").await;
    let before = bench.answers().await;
    bench.press("[data-testid=save-result]").await;
    let result = bench.downloaded(".html").await;

    bench.open_step(2).await;
    bench.press("[data-testid=start-afresh]").await;
    bench.count_becomes("[data-testid=load-sample]", 1).await;
    bench.choose_files("[data-testid=files]", &[&result]).await;
    bench.compared().await;
    assert_eq!(bench.answers().await, before, "the result file restores the sheet");
    bench.open_step(3).await;
    bench.count_becomes("[data-testid=region]", 1).await;

    assert_eq!(
        bench.server.requests(),
        requests,
        "the page asked its server for something after it was loaded"
    );
    assert_eq!(bench.resources().await, resources, "the page asked for something after it was loaded");
    bench.close_clean().await;
}

#[tokio::test]
async fn a_reload_returns_to_the_same_sheet_and_a_second_tab_leaves_it_alone() {
    let bench = Bench::open().await;
    bench.load_sample().await;
    bench.open_step(1).await;
    bench.fill("[data-testid=serial]", "bench 12").await;
    let kept = || async { bench.text("[data-testid=saved-state]").await.contains("Kept").then_some(()) };
    bench.until("the change being kept", kept).await;
    let before = bench.answers().await;

    let second = bench.client.new_window(true).await.expect("a second tab").handle;
    let first = bench.client.window().await.expect("the first tab");
    bench.client.switch_to_window(second).await.expect("the second tab");
    bench.client.goto(&bench.server.address).await.expect("the page loads again");
    bench.load_sample().await;
    bench
        .until("the second tab saying that it is not kept", || async {
            bench.text("[data-testid=saved-state]").await.contains("nother tab").then_some(())
        })
        .await;
    bench.client.close_window().await.expect("the second tab closes");
    bench.client.switch_to_window(first).await.expect("the first tab");

    bench.client.refresh().await.expect("the page loads again");
    bench.compared().await;
    assert_eq!(bench.answers().await, before);
    bench.close_clean().await;
}

#[tokio::test]
async fn a_damaged_file_is_named_and_nothing_is_lost() {
    let bench = Bench::open().await;
    bench.load_sample().await;
    bench.open_step(2).await;
    let captures = bench.count("[data-testid=capture]").await;
    let broken = bench.downloads.join("broken.tiff");
    std::fs::write(&broken, b"II*\0 this is no picture").expect("a damaged file");
    bench.choose_files("[data-testid=add-files]", &[&broken]).await;
    let notice = bench.text("[data-testid=notice]").await;
    assert!(notice.contains("broken.tiff"), "{notice}");
    assert_eq!(bench.count("[data-testid=capture]").await, captures);
    assert!(bench.compared().await.contains("Q2"));
    bench.close_clean().await;
}

#[tokio::test]
async fn undo_takes_back_a_region_and_redo_lays_it_again() {
    let bench = Bench::open().await;
    bench.load_sample().await;
    bench.open_step(3).await;
    bench.press("[data-testid=tool-ellipse]").await;
    bench.drag_on_picture(30.0, 30.0).await;
    bench.count_becomes("[data-testid=region]", 1).await;
    bench.press("[data-testid=undo]").await;
    bench.count_becomes("[data-testid=region]", 0).await;
    bench.press("[data-testid=redo]").await;
    bench.count_becomes("[data-testid=region]", 1).await;
    bench.close_clean().await;
}

#[tokio::test]
async fn a_procedure_is_carried_out_by_its_own_words_and_its_record_goes_into_the_result() {
    let bench = Bench::open().await;
    bench.load_sample().await;
    bench.open_step(3).await;
    bench.press("[data-testid=by-reflector] summary").await;
    for (repeat, reading) in ["23.1", "23.4", "22.9"].into_iter().enumerate() {
        bench.fill(&format!("[data-testid=by-reflector-1-{}]", repeat + 1), reading).await;
    }
    let outcome = bench.text("[data-testid=by-reflector-outcome]").await;
    // The mean of the three, by hand: 23.133…
    assert!(outcome.contains("23.1 °C ±"), "{outcome}");
    bench.press("[data-testid=by-reflector-record]").await;
    bench.count_becomes("[data-testid=procedure-record]", 1).await;
    bench.press("[data-testid=use-record-1]").await;
    bench.compared().await;
    bench.open_step(7).await;
    bench.press("[data-testid=save-result]").await;
    let result = std::fs::read_to_string(bench.downloaded(".html").await).expect("the result is text");
    assert!(result.contains("Reflected temperature, from foil"), "the record is in the result");
    assert!(result.contains("Measured at the bench"));
    bench.close_clean().await;
}

#[tokio::test]
async fn a_reading_says_how_well_it_is_known_and_why() {
    let bench = Bench::open().await;
    bench.load_sample().await;
    bench.open_step(5).await;
    bench.compared().await;
    bench.press("[data-testid=finding-1]").await;
    for reading in ["reading-baseline", "reading-unit", "reading-difference"] {
        let text = bench.text(&format!("[data-testid={reading}]")).await;
        assert!(text.contains('±'), "{reading}: {text}");
    }
    bench.press("[data-testid=certainty] summary").await;
    let budget = bench.text("[data-testid=certainty] .budget").await;
    assert!(budget.contains("calibration of the camera") && budget.contains("emissivity"), "{budget}");
    bench.press("[data-testid=draw-inputs]").await;
    assert!(bench.text("[data-testid=drawn]").await.contains("95 % lie from"));
    bench.close_clean().await;
}
