//! Serves the built page and remembers what was asked of it.

use std::convert::Infallible;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use http_body_util::Full;
use hyper::body::{Bytes, Incoming};
use hyper::{Request, Response, StatusCode};
use hyper_util::rt::TokioIo;

/// A server on a free port of this machine; ends with the test.
pub struct PageServer {
    pub address: String,
    requests: Arc<Mutex<Vec<String>>>,
}

impl PageServer {
    pub async fn start(folder: PathBuf) -> Self {
        assert!(folder.join("index.html").exists(), "{} holds no page: run tests/run.sh", folder.display());
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = format!("http://{}/", listener.local_addr().expect("bound"));
        let requests = Arc::new(Mutex::new(Vec::new()));
        let log = Arc::clone(&requests);
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let (folder, log) = (folder.clone(), Arc::clone(&log));
                tokio::spawn(async move {
                    let answer = |request: Request<Incoming>| {
                        log.lock()
                            .expect("no test panics with the log")
                            .push(request.uri().path().to_owned());
                        let response = file(&folder, request.uri().path());
                        async move { Ok::<_, Infallible>(response) }
                    };
                    let service = hyper::service::service_fn(answer);
                    // A browser that closes its connection early is no failure of the page.
                    let _ = hyper::server::conn::http1::Builder::new()
                        .serve_connection(TokioIo::new(stream), service)
                        .await;
                });
            }
        });
        Self { address, requests }
    }

    /// Paths asked for so far, in order.
    pub fn requests(&self) -> Vec<String> {
        self.requests.lock().expect("no test panics with the log").clone()
    }
}

fn file(folder: &Path, path: &str) -> Response<Full<Bytes>> {
    let name = if path == "/" { "index.html" } else { path.trim_start_matches('/') };
    let kind = match name.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript",
        Some("wasm") => "application/wasm",
        Some("css") => "text/css",
        Some("svg") => "image/svg+xml",
        _ => "application/octet-stream",
    };
    let mut response = Response::new(Full::default());
    match std::fs::read(folder.join(name)) {
        Ok(bytes) if !name.contains("..") => {
            *response.body_mut() = Full::new(Bytes::from(bytes));
            response.headers_mut().insert("content-type", hyper::header::HeaderValue::from_static(kind));
        }
        _ => *response.status_mut() = StatusCode::NOT_FOUND,
    }
    response
}
