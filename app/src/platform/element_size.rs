//! The size of an element, as long as it is there.

use std::cell::RefCell;
use std::rc::Rc;

use leptos::prelude::*;
use wasm_bindgen::prelude::*;
use web_sys::{Element, ResizeObserver};

/// A running observation of an element's size; ends when it is dropped.
struct SizeWatch {
    observer: ResizeObserver,
    _measure: Closure<dyn FnMut()>,
}

impl Drop for SizeWatch {
    fn drop(&mut self) {
        self.observer.disconnect();
    }
}

/// Tells width and height of an element, CSS pixels, now and whenever they change. `element` is read reactively.
pub fn watch_size(
    element: impl Fn() -> Option<Element> + 'static,
    tell: impl Fn(f64, f64) + Clone + 'static,
) {
    let watch = Rc::new(RefCell::new(None::<SizeWatch>));
    Effect::new(move || {
        let Some(element) = element() else { return };
        let (observed, tell) = (element.clone(), tell.clone());
        let measure = Closure::new(move || {
            let area = observed.get_bounding_client_rect();
            tell(area.width(), area.height());
        });
        if let Ok(observer) = ResizeObserver::new(measure.as_ref().unchecked_ref()) {
            observer.observe(&element);
            watch.replace(Some(SizeWatch { observer, _measure: measure }));
        }
    });
}
