//! One browser on one page: start, look, and end with a clean console.

use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tokio::io::{AsyncBufReadExt, BufReader};
use tokio::process::{Child, Command};

use crate::page_server::PageServer;

/// How long a state may take to come about before the journey has failed. Generous, since the
/// machine may be busy; nothing waits longer than it must.
const PATIENCE: Duration = Duration::from_secs(60);

/// A browser that shows the page. The driver dies with it, whatever the test does.
pub struct Bench {
    pub client: Client,
    pub server: PageServer,
    pub downloads: PathBuf,
    driver: Child,
    _folder: tempfile::TempDir,
}

impl Bench {
    /// Opens the page in a fresh profile, 1280 × 900.
    pub async fn open() -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ lies in the repository");
        let server = PageServer::start(root.join("app/dist")).await;
        let folder = tempfile::tempdir().expect("a temporary folder");
        let downloads = folder.path().join("downloads");
        std::fs::create_dir(&downloads).expect("a folder for downloads");
        let (driver, port) = start_driver().await;
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities(folder.path(), &downloads))
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .expect("chromedriver opens a session");
        client.goto(&server.address).await.expect("the page loads");
        let bench = Self { client, server, downloads, driver, _folder: folder };
        bench.see("[data-testid=load-sample]").await;
        bench
    }

    /// Waits until an element matches and is displayed.
    pub async fn see(&self, selector: &str) -> fantoccini::elements::Element {
        self.client
            .wait()
            .at_most(PATIENCE)
            .for_element(Locator::Css(selector))
            .await
            .unwrap_or_else(|error| panic!("{selector} did not appear: {error}"))
    }

    /// Waits for an element and clicks it.
    pub async fn press(&self, selector: &str) {
        let element = self.see(selector).await;
        // Sheets are longer than windows; a person would scroll there.
        self.script("arguments[0].scrollIntoView({block: 'center'})", vec![json!(element)]).await;
        element.click().await.unwrap_or_else(|error| panic!("{selector} cannot be clicked: {error}"));
    }

    /// The visible text of an element.
    pub async fn text(&self, selector: &str) -> String {
        self.see(selector).await.text().await.expect("an element has text")
    }

    /// Runs a script in the page and gives back what it returns.
    pub async fn script(&self, source: &str, arguments: Vec<Value>) -> Value {
        self.client.execute(source, arguments).await.unwrap_or_else(|error| panic!("{source}: {error}"))
    }

    /// Waits until `holds` does, looking again now and then.
    pub async fn until<F, T>(&self, what: &str, mut holds: impl FnMut() -> F) -> T
    where
        F: Future<Output = Option<T>>,
    {
        let end = tokio::time::Instant::now() + PATIENCE;
        loop {
            if let Some(found) = holds().await {
                return found;
            }
            assert!(tokio::time::Instant::now() < end, "{what} did not come about");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Waits for a finished download whose name ends so, and gives its path.
    pub async fn downloaded(&self, ending: &str) -> PathBuf {
        self.until(&format!("a download *{ending}"), || async {
            let entries = std::fs::read_dir(&self.downloads).ok()?.flatten();
            let found =
                entries.map(|entry| entry.path()).find(|path| path.to_string_lossy().ends_with(ending))?;
            Some(found)
        })
        .await
    }

    /// Ends the session; fails when the console holds a warning or an error.
    pub async fn close_clean(mut self) {
        let log = self.client.issue_cmd(ConsoleLog).await.expect("the console can be read");
        let complaints: Vec<_> = log
            .as_array()
            .into_iter()
            .flatten()
            .filter(|entry| entry["level"] == "SEVERE" || entry["level"] == "WARNING")
            .map(ToString::to_string)
            .collect();
        self.client.clone().close().await.expect("the browser closes");
        let _ = self.driver.kill().await;
        assert!(complaints.is_empty(), "the console complains:\n{}", complaints.join("\n"));
    }
}

async fn start_driver() -> (Child, u16) {
    let mut driver = Command::new("chromedriver")
        .arg("--port=0")
        .stdout(Stdio::piped())
        .kill_on_drop(true)
        .spawn()
        .expect("chromedriver starts: install chromium-driver");
    let mut lines = BufReader::new(driver.stdout.take().expect("piped")).lines();
    while let Some(line) = lines.next_line().await.expect("chromedriver speaks") {
        if let Some(port) = line.split("successfully on port ").nth(1) {
            let port = port.trim_end_matches('.').trim().parse().expect("a port number");
            tokio::spawn(async move { while let Ok(Some(_)) = lines.next_line().await {} });
            return (driver, port);
        }
    }
    panic!("chromedriver ended before it named its port");
}

fn capabilities(profile: &Path, downloads: &Path) -> serde_json::Map<String, Value> {
    let capabilities = json!({
        "goog:chromeOptions": {
            "args": [
                "--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--disable-gpu", "--no-first-run",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
                "--window-size=1280,900", format!("--user-data-dir={}", profile.join("profile").display()),
            ],
            "prefs": { "download.default_directory": downloads, "download.prompt_for_download": false },
        },
        "goog:loggingPrefs": { "browser": "ALL" },
    });
    capabilities.as_object().cloned().unwrap_or_default()
}

/// Chromedriver's own command for the page's console.
#[derive(Debug)]
struct ConsoleLog;

impl WebDriverCompatibleCommand for ConsoleLog {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/se/log", session.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(json!({ "type": "browser" }).to_string()))
    }
}
