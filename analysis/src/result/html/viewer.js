// The large picture of the result sheet: any pixel read out, any map, any palette, zoomed.
// Without this script the sheet still shows its still pictures.
"use strict";

const WHOLE = 1, CLOSEST = 16, STEP = 1.5;

async function unpack(id) {
  const packed = Uint8Array.from(atob(document.getElementById(id).textContent), c => c.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new DataView(await new Response(stream).arrayBuffer());
}

// Palettes are written as six hexadecimal digits a colour; canvas pixels are little-endian ABGR words.
function paletteWords(hexadecimal) {
  return Uint32Array.from(hexadecimal.match(/.{6}/g), color => {
    const rgb = parseInt(color, 16);
    return 0xff000000 | (rgb & 0xff) << 16 | rgb & 0xff00 | rgb >> 16;
  });
}

async function start() {
  const data = JSON.parse(document.getElementById("viewer-data").textContent);
  const { rows, columns, maps, palettes } = data;
  for (const map of maps) map.codes = await unpack(map.id);

  const stage = document.getElementById("stage");
  const marks = stage.querySelector("svg");
  const canvas = document.createElement("canvas");
  const painted = Object.assign(document.createElement("canvas"), { width: columns, height: rows });
  Object.assign(canvas, { width: columns * 2, height: rows * 2 });
  stage.querySelector("img").after(canvas);
  const mapChoice = document.getElementById("map-choice");
  const paletteChoice = document.getElementById("palette-choice");
  const view = { left: 0, top: 0, zoom: WHOLE };
  let shown = maps[0];
  let cursor = null;

  // Kelvin of a pixel; null where the pixel is invalid. Code 0 is kept for those.
  function kelvin(map, x, y) {
    const code = map.codes.getUint16((y * columns + x) * 2, true);
    return code === 0 ? null : map.lo + (code - 1) * map.step;
  }

  function inUnit(map, value, decimals) {
    if (value === null) return "no reading";
    const number = (value * map.scale + map.offset).toFixed(decimals);
    const sign = map.signed && number > 0 ? "+" : "";
    return sign + number.replace("-", "\u2212") + "\u00a0" + map.symbol;
  }

  function paint() {
    const chosen = palettes.find(palette => palette.name === paletteChoice.value);
    const colors = paletteWords(chosen.colors);
    const context = painted.getContext("2d");
    const image = context.createImageData(columns, rows);
    const words = new Uint32Array(image.data.buffer);
    const perKelvin = 255 / (shown.to - shown.from);
    for (let y = 0, at = 0; y < rows; y++) {
      for (let x = 0; x < columns; x++, at++) {
        const value = kelvin(shown, x, y);
        if (value !== null) words[at] = colors[Math.max(0, Math.min(255, (value - shown.from) * perKelvin)) | 0];
      }
    }
    context.putImageData(image, 0, 0);
    // Printed is the still picture: a canvas may come out smaller on paper than the marks over it.
    stage.querySelector("img").src = painted.toDataURL();
    paintScale(colors);
    draw();
  }

  function paintScale(colors) {
    const bar = Object.assign(document.createElement("canvas"), { width: colors.length, height: 1 });
    const context = bar.getContext("2d");
    const image = context.createImageData(colors.length, 1);
    new Uint32Array(image.data.buffer).set(colors);
    context.putImageData(image, 0, 0);
    const scale = document.getElementById("stage-scale");
    scale.querySelector("img").src = bar.toDataURL();
    const ends = [shown.from, (shown.from + shown.to) / 2, shown.to];
    scale.querySelectorAll("span").forEach((label, i) => label.textContent = inUnit(shown, ends[i], shown.decimals));
    document.getElementById("stage-name").textContent = shown.name;
  }

  function draw() {
    const [width, height] = [columns / view.zoom, rows / view.zoom];
    view.left = Math.max(0, Math.min(columns - width, view.left));
    view.top = Math.max(0, Math.min(rows - height, view.top));
    const context = canvas.getContext("2d");
    context.imageSmoothingEnabled = false;
    context.clearRect(0, 0, canvas.width, canvas.height);
    context.drawImage(painted, view.left, view.top, width, height, 0, 0, canvas.width, canvas.height);
    marks.setAttribute("viewBox", `${view.left - 0.5} ${view.top - 0.5} ${width} ${height}`);
    // Labels keep their size on the screen.
    for (const text of marks.querySelectorAll("text")) {
      text.style.fontSize = text.getAttribute("font-size") / view.zoom + "px";
    }
    stage.classList.toggle("zoomed", view.zoom > WHOLE);
  }

  function zoom(factor, x = view.left + columns / view.zoom / 2, y = view.top + rows / view.zoom / 2) {
    const before = view.zoom;
    view.zoom = Math.max(WHOLE, Math.min(CLOSEST, before * factor));
    view.left = x - (x - view.left) * before / view.zoom;
    view.top = y - (y - view.top) * before / view.zoom;
    draw();
  }

  function readOut() {
    document.getElementById("place").textContent = cursor ? `${cursor.x}, ${cursor.y}` : "point at a picture";
    for (const map of maps) {
      document.getElementById("read-" + map.id).textContent =
        cursor ? inUnit(map, kelvin(map, cursor.x, cursor.y), 2) : "\u2014";
    }
    for (const cross of document.querySelectorAll(".cross")) {
      cross.setAttribute("transform", cursor ? `translate(${cursor.x} ${cursor.y})` : "translate(-99999 0)");
    }
  }

  function pointAt(x, y) {
    const inside = (value, count) => Math.max(0, Math.min(count - 1, Math.floor(value)));
    cursor = { x: inside(x, columns), y: inside(y, rows) };
    readOut();
  }

  // Places in picture coordinates, the corner of the first pixel being (0, 0).
  function place(event, element, seen) {
    const box = element.getBoundingClientRect();
    return [seen.left + (event.clientX - box.left) / box.width * columns / seen.zoom,
            seen.top + (event.clientY - box.top) / box.height * rows / seen.zoom];
  }

  const whole = { left: 0, top: 0, zoom: WHOLE };
  for (const still of document.querySelectorAll(".still")) {
    still.addEventListener("pointermove", event => pointAt(...place(event, still, whole)));
  }
  let grip = null;
  stage.addEventListener("pointerdown", event => {
    pointAt(...place(event, stage, view));
    if (view.zoom > WHOLE) { grip = place(event, stage, view); stage.setPointerCapture(event.pointerId); }
  });
  stage.addEventListener("pointermove", event => {
    const [x, y] = place(event, stage, view);
    if (!grip) return pointAt(x, y);
    view.left += grip[0] - x;
    view.top += grip[1] - y;
    draw();
  });
  for (const end of ["pointerup", "pointercancel"]) stage.addEventListener(end, () => grip = null);
  stage.addEventListener("dblclick", event => zoom(STEP * STEP, ...place(event, stage, view)));
  stage.addEventListener("wheel", event => {
    // A bare wheel scrolls the sheet, as everywhere.
    if (!event.ctrlKey && !event.metaKey) return;
    event.preventDefault();
    zoom(event.deltaY < 0 ? STEP : 1 / STEP, ...place(event, stage, view));
  }, { passive: false });
  stage.addEventListener("keydown", event => {
    const step = event.shiftKey ? 10 : 1;
    const way = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (way) {
      const from = cursor ?? { x: columns / 2, y: rows / 2 };
      pointAt(from.x + way[0], from.y + way[1]);
    } else if (event.key === "+") zoom(STEP);
    else if (event.key === "-") zoom(1 / STEP);
    else if (event.key === "0") zoom(0);
    else return;
    event.preventDefault();
  });
  document.getElementById("closer").addEventListener("click", () => zoom(STEP));
  document.getElementById("farther").addEventListener("click", () => zoom(1 / STEP));
  document.getElementById("whole").addEventListener("click", () => zoom(0));
  addEventListener("beforeprint", () => zoom(0));

  function choosePalettes() {
    const fitting = palettes.filter(palette => palette.diverging === shown.signed);
    paletteChoice.replaceChildren(...fitting.map(palette => new Option(palette.name)));
  }
  mapChoice.replaceChildren(...maps.map(map => new Option(map.name)));
  mapChoice.addEventListener("change", () => {
    const before = shown;
    shown = maps[mapChoice.selectedIndex];
    if (before.signed !== shown.signed) choosePalettes();
    paint();
  });
  paletteChoice.addEventListener("change", paint);
  choosePalettes();
  paint();
  readOut();
  document.getElementById("controls").hidden = false;
}

// An old browser or a damaged block leaves the still pictures as they are.
start().catch(error => console.warn("The pictures stay still:", error));
