//! Messages between the page and its worker, both ends.
//!
//! A message is an array: a header as text, then the arrays beside it, whose memory is handed over
//! instead of copied.

use std::cell::RefCell;
use std::rc::Rc;

use js_sys::{Array, Float32Array, Function, Reflect, Uint8Array};
use serde::Serialize;
use serde::de::DeserializeOwned;
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{DedicatedWorkerGlobalScope, ErrorEvent, MessageEvent, Worker};

use super::message_of;
use crate::compute::handle::Workbench;
use crate::compute::protocol::{Answer, Buffer, Request};

/// The function that `public/boot.js` leaves for starting a worker without the network.
const START: &str = "startBoardglowWorker";

/// The page's end of one worker. The worker ends when this is dropped.
#[derive(Debug)]
pub struct WorkerLink {
    worker: Worker,
    _on_message: Closure<dyn FnMut(MessageEvent)>,
    _on_error: Closure<dyn FnMut(ErrorEvent)>,
}

impl WorkerLink {
    /// Starts a worker whose answers go to `on_answer`.
    ///
    /// # Errors
    /// What the browser says, when it starts no workers.
    pub fn start(on_answer: impl Fn(Answer, Vec<Buffer>) + 'static) -> Result<Self, String> {
        let worker = start("").map_err(|error| message_of(&error))?;
        let on_answer = Rc::new(on_answer);
        let on_message = {
            let on_answer = Rc::clone(&on_answer);
            Closure::new(move |event: MessageEvent| match unpack::<Answer>(&event.data()) {
                Ok((answer, buffers)) => on_answer(answer, buffers),
                Err(message) => on_answer(Answer::Panicked { message }, Vec::new()),
            })
        };
        let on_error = Closure::new(move |event: ErrorEvent| {
            // Told as a notice, so the browser need not report it as well.
            event.prevent_default();
            on_answer(Answer::Panicked { message: event.message() }, Vec::new());
        });
        worker.set_onmessage(Some(on_message.as_ref().unchecked_ref()));
        worker.set_onerror(Some(on_error.as_ref().unchecked_ref()));
        Ok(Self { worker, _on_message: on_message, _on_error: on_error })
    }

    /// Sends a request with its arrays.
    ///
    /// # Errors
    /// What the browser or the JSON writer says.
    pub fn send(&self, request: &Request, buffers: Vec<Buffer>) -> Result<(), String> {
        let (message, transfer) = pack(request, buffers)?;
        self.worker.post_message_with_transfer(&message, &transfer).map_err(|error| message_of(&error))
    }
}

impl Drop for WorkerLink {
    fn drop(&mut self) {
        self.worker.set_onmessage(None);
        self.worker.set_onerror(None);
        self.worker.terminate();
    }
}

/// Starts a worker; its name tells it what it is for.
pub(super) fn start(name: &str) -> Result<Worker, JsValue> {
    let start: Function = Reflect::get(&js_sys::global(), &START.into())?.dyn_into()?;
    start.call1(&JsValue::NULL, &name.into())?.dyn_into()
}

/// The worker's end: answers requests until the page ends it.
pub fn serve() {
    let scope: DedicatedWorkerGlobalScope = js_sys::global().unchecked_into();
    report_panics();
    let workbench = RefCell::new(Workbench::default());
    let own_scope = scope.clone();
    let on_message = Closure::<dyn FnMut(MessageEvent)>::new(move |event: MessageEvent| {
        let (request, buffers) = match unpack::<Request>(&event.data()) {
            Ok(message) => message,
            Err(message) => {
                post(&own_scope, &Answer::Panicked { message }, Vec::new());
                return;
            }
        };
        let id = request.id;
        let mut report = |stage: &str, fraction: f64| {
            mark(&own_scope, stage);
            post(&own_scope, &Answer::Progress { id, stage: stage.to_owned(), fraction }, Vec::new());
        };
        let (outcome, buffers) = workbench.borrow_mut().handle(request.job, buffers, &mut report);
        mark(&own_scope, "Done");
        post(&own_scope, &Answer::Done { id, outcome: Box::new(outcome) }, buffers);
    });
    scope.set_onmessage(Some(on_message.as_ref().unchecked_ref()));
    // The handler lives as long as the worker.
    on_message.forget();
    post(&scope, &Answer::Ready, Vec::new());
}

/// A mark on the browser's own time line: how long each step takes can be read in its tools.
fn mark(scope: &DedicatedWorkerGlobalScope, stage: &str) {
    if let Some(performance) = scope.performance() {
        // A browser without marks only leaves its own tools without them.
        let _ = performance.mark(stage);
    }
}

/// A panicked worker is of no further use; its last message says why.
fn report_panics() {
    std::panic::set_hook(Box::new(|panic| {
        // The hook must be `Send`, which the scope is not: it is found again when needed.
        let scope: DedicatedWorkerGlobalScope = js_sys::global().unchecked_into();
        post(&scope, &Answer::Panicked { message: panic.to_string() }, Vec::new());
    }));
}

fn post(scope: &DedicatedWorkerGlobalScope, answer: &Answer, buffers: Vec<Buffer>) {
    let posted = pack(answer, buffers).and_then(|(message, transfer)| {
        scope.post_message_with_transfer(&message, &transfer).map_err(|error| message_of(&error))
    });
    if let Err(message) = posted {
        // Nothing can be told to the page if telling fails.
        web_sys::console::error_1(&message.into());
    }
}

/// A message and the memory that goes with it.
pub(super) fn pack<H: Serialize>(header: &H, buffers: Vec<Buffer>) -> Result<(Array, Array), String> {
    let header = serde_json::to_string(header).map_err(|error| error.to_string())?;
    let message = Array::of1(&header.into());
    let transfer = Array::new();
    for buffer in buffers {
        let (array, memory): (JsValue, JsValue) = match buffer {
            Buffer::Bytes(bytes) => {
                let array = Uint8Array::from(bytes.as_slice());
                let memory = array.buffer().into();
                (array.into(), memory)
            }
            Buffer::Numbers(numbers) => {
                let array = Float32Array::from(numbers.as_slice());
                let memory = array.buffer().into();
                (array.into(), memory)
            }
        };
        message.push(&array);
        transfer.push(&memory);
    }
    Ok((message, transfer))
}

/// The inverse of [`pack`].
pub(super) fn unpack<H: DeserializeOwned>(message: &JsValue) -> Result<(H, Vec<Buffer>), String> {
    let message: &Array = message.dyn_ref().ok_or("a message that is no array")?;
    let header = message.get(0).as_string().ok_or("a message without a header")?;
    let header = serde_json::from_str(&header).map_err(|error| error.to_string())?;
    let buffers = message
        .iter()
        .skip(1)
        .map(|array| match array.dyn_ref::<Float32Array>() {
            Some(numbers) => Buffer::Numbers(numbers.to_vec()),
            None => Buffer::Bytes(Uint8Array::new(&array).to_vec()),
        })
        .collect();
    Ok((header, buffers))
}
