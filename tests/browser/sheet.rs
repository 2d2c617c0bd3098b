//! The bench sheet as a person works through it: one verb a deed.

use std::path::Path;

use fantoccini::Locator;
use fantoccini::actions::{InputSource, MouseActions, PointerAction};
use serde_json::json;

use crate::bench::Bench;

impl Bench {
    /// Loads the invented sample board and sends the tour away.
    pub async fn load_sample(&self) {
        self.press("[data-testid=load-sample]:enabled").await;
        self.press("[data-testid=tour-skip]").await;
        self.compared().await;
    }

    /// Waits until the comparison says which part it found first, and gives that line.
    pub async fn compared(&self) -> String {
        self.until("a comparison with a finding", || async {
            let answer = self.answer(5).await;
            answer.contains("finding").then_some(answer)
        })
        .await
    }

    /// The one-line answer of a step.
    pub async fn answer(&self, step: usize) -> String {
        self.text(&format!("[data-testid=step-{step}-answer]")).await
    }

    /// The answers of all seven steps: what the sheet says.
    pub async fn answers(&self) -> Vec<String> {
        let mut answers = Vec::new();
        for step in 1..=7 {
            answers.push(self.answer(step).await);
        }
        answers
    }

    /// Opens a step, if it is not open.
    pub async fn open_step(&self, step: usize) {
        let heading = format!("[data-testid=step-{step}-heading]");
        let open =
            self.see(&heading).await.attr("aria-expanded").await.expect("an attribute").unwrap_or_default();
        if open != "true" {
            self.press(&heading).await;
        }
    }

    /// Gives files to a file chooser.
    pub async fn choose_files(&self, selector: &str, files: &[&Path]) {
        let input = self.client.wait().for_element(Locator::Css(selector)).await.expect("a file chooser");
        let names: Vec<_> = files.iter().map(|file| file.to_string_lossy()).collect();
        input.send_keys(&names.join("\n")).await.expect("files can be chosen");
    }

    /// Drags over the picture, from its middle by this many screen pixels.
    pub async fn drag_on_picture(&self, right: f64, down: f64) {
        let picture = self.see("[role=application]").await;
        let middle = PointerAction::MoveToElement { element: picture, duration: None, x: 0.0, y: 0.0 };
        let drag = MouseActions::new("mouse".to_owned())
            .then(middle)
            .then(PointerAction::Down { button: 0 })
            .then(PointerAction::MoveBy { duration: None, x: right / 2.0, y: down / 2.0 })
            .then(PointerAction::MoveBy { duration: None, x: right / 2.0, y: down / 2.0 })
            .then(PointerAction::Up { button: 0 });
        self.client.perform_actions(drag).await.expect("the mouse moves");
    }

    /// How many elements match.
    pub async fn count(&self, selector: &str) -> usize {
        let script = "return document.querySelectorAll(arguments[0]).length";
        self.script(script, vec![json!(selector)]).await.as_u64().unwrap_or_default() as usize
    }

    /// Waits until this many elements match.
    pub async fn count_becomes(&self, selector: &str, wanted: usize) {
        self.until(&format!("{wanted} × {selector}"), || async {
            (self.count(selector).await == wanted).then_some(())
        })
        .await;
    }

    /// Types into a field, in place of what is there, and leaves it.
    pub async fn fill(&self, selector: &str, text: &str) {
        let field = self.see(selector).await;
        field.clear().await.expect("a field can be emptied");
        field.send_keys(&format!("{text}\t")).await.expect("a field takes text");
    }

    /// How many resources the page has asked for since it was opened, over the network or not.
    pub async fn resources(&self) -> u64 {
        let script = "return performance.getEntriesByType('resource').filter(e => !/^(blob|data):/.test(e.name)).length";
        self.script(script, vec![]).await.as_u64().unwrap_or(u64::MAX)
    }
}
