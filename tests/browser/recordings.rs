//! A recording as a person works with it: opened, looked through, followed, and a frame pulled out of it.

use std::path::Path;

use crate::bench::Bench;

/// The picture's colours at some pixels, so that another frame is told from the one before.
const PRINT_OF_PICTURE: &str = "
    const canvas = document.querySelector('canvas[data-testid=picture]');
    if (!canvas || canvas.width < 2) return '';
    const copy = document.createElement('canvas');
    [copy.width, copy.height] = [canvas.width, canvas.height];
    const context = copy.getContext('2d', {willReadFrequently: true});
    context.drawImage(canvas, 0, 0);
    return Array.from(context.getImageData(0, copy.height >> 1, copy.width, 1).data).join();";

impl Bench {
    /// What is painted on the stage right now.
    async fn print_of_picture(&self) -> String {
        self.script(PRINT_OF_PICTURE, vec![]).await.as_str().unwrap_or_default().to_owned()
    }

    /// Waits until the stage shows something else than `before`.
    async fn picture_changes(&self, before: &str) -> String {
        self.until("another picture", || async {
            let now = self.print_of_picture().await;
            (!now.is_empty() && now != before).then_some(now)
        })
        .await
    }

    /// Waits until an element reads so.
    async fn reads(&self, selector: &str, wanted: &str) {
        self.until(wanted, || async { (self.text(selector).await == wanted).then_some(()) }).await;
    }

    /// Pulls the time slider to a frame, counted from 0.
    async fn slide_to(&self, frame: usize) {
        let script = "
            const slider = document.querySelector('[data-testid=time-slider]');
            slider.value = arguments[0];
            slider.dispatchEvent(new Event('input', {bubbles: true}));";
        self.script(script, vec![frame.into()]).await;
    }
}

#[tokio::test]
async fn a_recording_is_opened_looked_through_followed_and_a_frame_becomes_the_unit() {
    let bench = Bench::open().await;
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ lies in the repository");
    let samples = root.join("sample-captures");
    let files = ["warm-up.tiff", "warm-up.tiff.json", "placement.csv"].map(|name| samples.join(name));
    let files: Vec<&Path> = files.iter().map(AsRef::as_ref).collect();
    bench.choose_files("[data-testid=files]", &files).await;

    // Open, with its events, and painted.
    assert!(bench.text("[data-testid=time-position]").await.starts_with("1 of 48"));
    bench.count_becomes("[data-testid=time-event]", 2).await;
    let cold = bench.picture_changes("").await;

    // Another moment is another picture, and the times are those of the sidecar: 15 s apart.
    bench.slide_to(40).await;
    let position = bench.text("[data-testid=time-position]").await;
    assert!(position.starts_with("41 of 48") && position.contains("10 min 0 s"), "{position}");
    bench.picture_changes(&cold).await;

    // Followed by itself, as it is small: the hottest pixel and the parts that change most.
    bench.see("[data-testid=trend-chart]").await;
    let legend = bench.text("[data-testid=trend-legend]").await;
    assert!(legend.contains("Hottest pixel") && legend.contains("°C"), "{legend}");
    bench.press("[data-testid=trend-csv]").await;
    let table = std::fs::read_to_string(bench.downloaded(".csv").await).expect("a table is text");
    bench.press("[data-testid=trend-xlsx]").await;
    let workbook = std::fs::read(bench.downloaded(".xlsx").await).expect("a workbook");
    assert!(workbook.starts_with(b"PK"), "Office Open XML is a ZIP archive (ECMA-376)");
    assert_eq!(table.lines().count(), 49, "headings and one line a frame");
    assert!(table.starts_with("frame,time (s),Hottest pixel (°C)"), "{}", &table[..60]);
    assert!(table.lines().nth(2).is_some_and(|line| line.starts_with("2,15,")));

    // The board warms: a trigger that its hottest pixel sets off names the moment.
    bench.press("[data-testid=triggers] > summary").await;
    bench.fill("[data-testid=trigger-threshold]", "40").await;
    bench.count_becomes("[data-testid=trigger-moment]", 1).await;
    let beyond = bench.text("[data-testid=trigger-beyond]").await;
    assert!(beyond.contains("pixels of the picture are beyond it"), "{beyond}");

    // Columns that were asked for are in the file.
    bench.press("[data-testid=trend-places] > summary").await;
    bench.press("[data-testid=trend-places] .row .tick:nth-child(1)").await;
    bench.press("[data-testid=trend-places] .row .tick:nth-child(2)").await;
    bench.press("[data-testid=trend-csv]").await;
    let table = std::fs::read_to_string(bench.downloaded("(1).csv").await).expect("a table is text");
    assert!(table.starts_with("frame,time (s),Hottest pixel (°C),Hottest pixel standard uncertainty (K),Hottest pixel rate of change (K/min)"), "{}", &table[..160]);

    // The invented board lies still, and that is found.
    bench.press("[data-testid=hold-still]").await;
    let held = bench
        .until("how the board moved", || async {
            let told = bench.text("[data-testid=held]").await;
            told.contains("Held: it moves").then_some(told)
        })
        .await;
    assert!(held.contains("up to 0.0 px") || held.contains("up to 0.1 px"), "{held}");

    // A frame goes into the session as the unit, with its own time and supply.
    bench.press("[data-testid=pull-menu] > summary").await;
    bench.press("[data-testid=pull-unit]").await;
    bench.open_step(2).await;
    bench.count_becomes("[data-testid=capture]", 1).await;
    let capture = bench.text("[data-testid=capture]").await;
    assert!(capture.contains("warm-up-frame-41.tiff"), "{capture}");
    assert!(capture.contains("2026-10-14 13:10:00") && capture.contains("12 V"), "{capture}");

    // Undo takes it out again and leaves the recording open.
    bench.press("[data-testid=undo]").await;
    bench.count_becomes("[data-testid=capture]", 0).await;
    bench.count_becomes("[data-testid=recording]", 1).await;

    // What is marked in it is a step of its own.
    bench.slide_to(10).await;
    bench.press("[data-testid=time-mark-in]").await;
    bench.reads("[data-testid=time-span]", "Span: 11 to 48").await;
    bench.press("[data-testid=undo]").await;
    bench.reads("[data-testid=time-span]", "Span: all").await;
    bench.press("[data-testid=redo]").await;
    bench.reads("[data-testid=time-span]", "Span: 11 to 48").await;

    // After a reload the file is opened again: what was marked and watched for is there.
    bench.reads("[data-testid=saved-state]", "Kept in this browser").await;
    bench.client.refresh().await.expect("the page loads again");
    bench.choose_files("[data-testid=add-files]", &files[..2]).await;
    bench.reads("[data-testid=time-span]", "Span: 11 to 48").await;
    bench.see("[data-testid=trend-chart]").await;
    bench.press("[data-testid=triggers] > summary").await;
    bench.count_becomes("[data-testid=trigger-moment]", 1).await;
    bench.close_clean().await;
}
