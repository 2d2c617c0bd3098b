// Starts the page, and keeps in memory what a worker needs (the glue's text and the compiled module),
// so that a worker can be started again after a fault without the network.
import initialize from './app.js';

const [glue, module] = await Promise.all([
  fetch(new URL('./app.js', import.meta.url)).then((response) => response.text()),
  WebAssembly.compileStreaming(fetch(new URL('./app_bg.wasm', import.meta.url))),
]);

// The worker starts from a Blob, because only then is it bound by this page's content security policy.
const workerStart = glue + '\nself.onmessage = (event) => initSync({ module: event.data });\n';
const workerUrl = URL.createObjectURL(new Blob([workerStart], { type: 'text/javascript' }));

globalThis.startBoardglowWorker = (name) => {
  const worker = new Worker(workerUrl, { type: 'module', name });
  worker.postMessage(module);
  return worker;
};

await initialize({ module_or_path: module });
