//! The worker that reads recordings, both ends: messages as with the other worker, and files as handles.

use std::cell::RefCell;
use std::rc::Rc;

use js_sys::Array;
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{DedicatedWorkerGlobalScope, ErrorEvent, File, MessageEvent, Worker};

use super::file_stream::FileStream;
use super::message_of;
use super::worker::{pack, start, unpack};
use crate::compute::protocol::Buffer;
use crate::time::protocol::{Request, Told};
use crate::time::worker_bench::{Message, SequenceBench, Stream};

/// The worker's name, by which it knows what it is for.
const NAME: &str = "recording";
/// Milliseconds of work between two looks at what the page wants.
const PORTION: f64 = 40.0;

/// The page's end. The worker ends when this is dropped.
#[derive(Debug)]
pub struct RecordingLink {
    worker: Worker,
    _on_message: Closure<dyn FnMut(MessageEvent)>,
    _on_error: Closure<dyn FnMut(ErrorEvent)>,
}

impl RecordingLink {
    /// Starts the worker; what it tells goes to `on_told`.
    ///
    /// # Errors
    /// What the browser says, when it starts no workers.
    pub fn start(on_told: impl Fn(Told, Vec<Buffer>) + 'static) -> Result<Self, String> {
        let worker = start(NAME).map_err(|error| message_of(&error))?;
        let on_told = Rc::new(on_told);
        let on_message = {
            let on_told = Rc::clone(&on_told);
            Closure::new(move |event: MessageEvent| match unpack::<Told>(&event.data()) {
                Ok((told, buffers)) => on_told(told, buffers),
                Err(message) => on_told(Told::Panicked { message }, Vec::new()),
            })
        };
        let on_error = Closure::new(move |event: ErrorEvent| {
            // Told as a notice, so the browser need not report it as well.
            event.prevent_default();
            on_told(Told::Panicked { message: event.message() }, Vec::new());
        });
        worker.set_onmessage(Some(on_message.as_ref().unchecked_ref()));
        worker.set_onerror(Some(on_error.as_ref().unchecked_ref()));
        Ok(Self { worker, _on_message: on_message, _on_error: on_error })
    }

    /// Sends a request with its arrays and files.
    ///
    /// # Errors
    /// What the browser or the JSON writer says.
    pub fn send(&self, request: &Request, buffers: Vec<Buffer>, files: &[File]) -> Result<(), String> {
        let (message, transfer) = pack(request, buffers)?;
        for file in files {
            message.push(file);
        }
        self.worker.post_message_with_transfer(&message, &transfer).map_err(|error| message_of(&error))
    }
}

impl Drop for RecordingLink {
    fn drop(&mut self) {
        self.worker.set_onmessage(None);
        self.worker.set_onerror(None);
        self.worker.terminate();
    }
}

fn scope() -> DedicatedWorkerGlobalScope {
    js_sys::global().unchecked_into()
}

/// Whether this worker was started to read recordings.
#[must_use]
pub fn is_meant() -> bool {
    scope().name() == NAME
}

/// The worker's end: answers questions until the page ends it.
pub fn serve() {
    std::panic::set_hook(Box::new(|panic| {
        post(Told::Panicked { message: panic.to_string() }, Vec::new());
    }));
    let desk = Rc::new(WorkerDesk {
        bench: RefCell::default(),
        portion: RefCell::default(),
        due: RefCell::default(),
    });
    let working = Rc::clone(&desk);
    desk.portion.replace(Some(Closure::new(move || working.work())));
    let listening = Rc::clone(&desk);
    let on_message =
        Closure::<dyn FnMut(MessageEvent)>::new(move |event: MessageEvent| listening.take(&event.data()));
    scope().set_onmessage(Some(on_message.as_ref().unchecked_ref()));
    // The handler lives as long as the worker.
    on_message.forget();
    post(Told::Ready, Vec::new());
}

/// The bench, and the work that is due on it.
struct WorkerDesk {
    bench: RefCell<SequenceBench>,
    portion: RefCell<Option<Closure<dyn FnMut()>>>,
    due: RefCell<bool>,
}

impl WorkerDesk {
    fn take(&self, message: &JsValue) {
        match received(message) {
            Ok((request, buffers, streams)) => {
                let told = self.bench.borrow_mut().take(request, buffers, streams);
                post_all(told);
            }
            Err(message) => post(Told::Panicked { message }, Vec::new()),
        }
        self.go_on();
    }

    fn work(&self) {
        self.due.replace(false);
        let end = js_sys::Date::now() + PORTION;
        let told = self.bench.borrow_mut().work(&|| js_sys::Date::now() < end);
        post_all(told);
        self.go_on();
    }

    /// Sees to it that the work goes on once what the page has sent meanwhile is taken in.
    fn go_on(&self) {
        if !self.bench.borrow().has_work() || self.due.replace(true) {
            return;
        }
        if let Some(portion) = self.portion.borrow().as_ref() {
            // A browser without timers would do no portion; there is none.
            let _ = scope().set_timeout_with_callback(portion.as_ref().unchecked_ref());
        }
    }
}

type Received = (Request, Vec<Buffer>, Vec<Box<dyn Stream>>);

/// A request with its arrays and files.
fn received(message: &JsValue) -> Result<Received, String> {
    let whole: &Array = message.dyn_ref().ok_or("a message that is no array")?;
    let rest = Array::new();
    let mut streams: Vec<Box<dyn Stream>> = Vec::new();
    for item in whole.iter() {
        match item.dyn_into::<File>() {
            Ok(file) => streams.push(Box::new(FileStream::new(file).map_err(|error| error.to_string())?)),
            Err(other) => {
                rest.push(&other);
            }
        }
    }
    let (request, buffers) = unpack::<Request>(&rest)?;
    Ok((request, buffers, streams))
}

fn post_all(told: Vec<Message>) {
    for (told, buffers) in told {
        post(told, buffers);
    }
}

fn post(told: Told, buffers: Vec<Buffer>) {
    let posted = pack(&told, buffers).and_then(|(message, transfer)| {
        scope().post_message_with_transfer(&message, &transfer).map_err(|error| message_of(&error))
    });
    if let Err(message) = posted {
        // Nothing can be told to the page if telling fails.
        web_sys::console::error_1(&message.into());
    }
}
