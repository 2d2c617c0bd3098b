//! The built page in headless Chromium, driven as a person would drive it.
//!
//! `tests/run.sh` builds the page first. Each journey has a browser, a profile and a server of its own.

#[path = "browser/bench.rs"]
mod bench;
#[path = "browser/page_server.rs"]
mod page_server;
#[path = "browser/sheet.rs"]
mod sheet;

use bench::Bench;

#[tokio::test]
async fn the_page_opens_without_complaint() {
    let bench = Bench::open().await;
    bench.close_clean().await;
}
