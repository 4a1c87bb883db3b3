// The live bench: one module for the page and the notebook, in anywidget's form.
// No physics here: places, orders, colours and sentences come from Python; this paints and asks.

const REST_MS = 120; // after the last turn the full row is asked for
const DWELL_MS = 280; // after the cursor came to rest the reason is asked for
const BUSY_MS = 1500; // without an answer, the page says that it waits
const SPEAK_MS = 1000; // sentences are spoken no more often
const SWEEP_MS = 340; // between two steps of a sweep: under three changes of brightness a second
const SWEEP_STEPS = 60;
const MOST_UNANSWERED = 2;
const DECADES = 10;
const WEDGE = [0, 3, 6, 10, 15, 21, 28, 36]; // code values of the grey steps
// what each cone's loss leaves of linear sRGB: Machado, Oliveira and Fernandes 2009, severity 1
const EYES = {
  protan: [0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998],
  deutan: [0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.01182, 0.04294, 0.968881],
  tritan: [1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.3039],
};
const GLYPHS = {
  source: ["M20 15a6 6 0 1 0 .1 12a6 6 0 0 0 -.1-12z", "M20 5v5M20 32v5M4 21h5M31 21h5M9 10l3 3M31 32l-3-3M9 32l3-3M31 10l-3 3"],
  filter: ["M15 6h8v30h-8z"],
  slit: ["M20 4v13M20 25v13"],
  collimator: ["M20 4c7 10 7 24 0 34c-7-10-7-24 0-34z"],
  aperture: ["M20 3v6M20 13v4M20 21v4M20 29v4M20 37v3"],
  errors: ["M18 4v6M22 13v5M19 20v5M23 28v4M17 34v5"],
  camera: ["M20 4c7 10 7 24 0 34c-7-10-7-24 0-34z"],
  plate: ["M20 5v32"],
  exposure: ["M20 11a10 10 0 1 0 .1 20a10 10 0 0 0 -.1-20z", "M20 21V13M20 21l6 4"],
};
const SOLID = { source: 0, plate: 0 };
const PADLOCK = "M3.5 7.5h9v6h-9zM5.5 7.5V5a2.5 2.5 0 0 1 5 0v2.5";
const OPEN_PADLOCK = "M3.5 7.5h9v6h-9zM5.5 7.5V4.5a2.5 2.5 0 0 1 4.8-1";
const PLAY = "M4 3l9 5l-9 5z";

// ---------------------------------------------------------------- small tools

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name in element && typeof value !== "string") element[name] = value;
    else if (value !== false && value !== null) element.setAttribute(name, value);
  }
  element.append(...children.filter((child) => child !== null));
  return element;
}

function drawing(paths, box, name) {
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  svg.setAttribute("viewBox", `0 0 ${box[0]} ${box[1]}`);
  svg.setAttribute("aria-hidden", "true");
  paths.forEach((d, number) => {
    const path = document.createElementNS(ns, "path");
    path.setAttribute("d", d);
    if (SOLID[name] === number) path.setAttribute("class", "solid");
    svg.append(path);
  });
  return svg;
}

const bytes = (view) => new Uint8ClampedArray(view.buffer, view.byteOffset, view.byteLength);
const floats = (view) => new Float32Array(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength));
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, key) => values[key] ?? "");
const minus = (text) => String(text).replace(/-/g, "\u2212");

function roundStep(least) {
  const power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 5, 10].map((digit) => digit * power).find((step) => step >= least * 0.999999);
}

function digits(value, count) {
  const text = Number(value.toPrecision(count));
  return Math.abs(text) >= 1e5 || (text !== 0 && Math.abs(text) < 1e-4) ? text.toExponential() : String(text);
}

function hashOf(text) {
  const binary = Array.from(new TextEncoder().encode(text), (byte) => String.fromCharCode(byte)).join("");
  return btoa(binary).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
}

function handOver(name, type, content) {
  const address = URL.createObjectURL(new Blob([content], { type }));
  const link = make("a", { href: address, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
}

// ---------------------------------------------------------------- talking to Python

class Line {
  // numbered messages; at most two turns unanswered, the latest value wins
  constructor(model, counters) {
    this.model = model;
    this.counters = counters;
    this.number = 0;
    this.unanswered = [];
    this.pending = null;
    this.cursor = { busy: 0, next: null };
    this.sentAt = new Map();
  }

  ask(kind, details = {}) {
    this.number += 1;
    this.sentAt.set(this.number, performance.now());
    this.model.send({ n: this.number, kind, ...details });
    return this.number;
  }

  turn(changes, columns) {
    this.pending = { changes: { ...(this.pending?.changes || {}), ...changes }, columns };
    this.pump();
  }

  pump() {
    if (!this.pending || this.unanswered.length >= MOST_UNANSWERED || document.hidden) return;
    const message = this.pending;
    this.pending = null;
    this.unanswered.push(this.ask("turn", message));
    this.counters.sent += 1;
    this.counters.unanswered = Math.max(this.counters.unanswered, this.unanswered.length);
  }

  point(x_m, why) {
    this.cursor.next = { x_m, why: why || (this.cursor.next?.why && this.cursor.next.x_m === x_m) };
    if (!this.cursor.busy) this.askPlace();
  }

  askPlace() {
    if (!this.cursor.next) return;
    this.cursor.busy = this.ask("cursor", this.cursor.next);
    this.cursor.next = null;
  }

  answered(number) {
    this.unanswered = this.unanswered.filter((sent) => sent > number);
    if (this.cursor.busy && number >= this.cursor.busy) this.cursor.busy = 0;
    const sent = this.sentAt.get(number);
    for (const key of this.sentAt.keys()) if (key <= number) this.sentAt.delete(key);
    this.pump();
    return sent;
  }

  get idle() {
    return !this.pending && this.unanswered.length === 0;
  }

  reset() {
    this.unanswered = [];
    this.cursor = { busy: 0, next: null };
  }
}

// ---------------------------------------------------------------- the board: plate, profile, scales

class Board {
  constructor(bench) {
    this.bench = bench;
    this.canvas = make("canvas");
    this.over = make("canvas", { class: "over", tabIndex: 0, role: "slider" });
    this.lift = make("div", { class: "lift" });
    this.element = make("div", { class: "board" }, this.canvas, this.lift, this.over);
    this.rows = make("canvas");
    this.hues = make("canvas");
    this.logarithmic = false;
    this.frame = null;
    this.cursor = null;
    this.asked = false;
    this.listen();
  }

  get columns() {
    return clamp(Math.round(this.element.clientWidth * devicePixelRatio) || 1200, 64, 2400);
  }

  listen() {
    const at = (event) => this.point(this.xAt(event.clientX), event);
    this.over.addEventListener("pointermove", (event) => at(event));
    this.over.addEventListener("pointerdown", (event) => { this.over.focus({ preventScroll: true }); at(event); });
    this.over.addEventListener("keydown", (event) => this.key(event));
    new ResizeObserver(() => this.soon()).observe(this.element);
  }

  xAt(clientX) {
    const box = this.over.getBoundingClientRect();
    const [low, high] = this.frame?.head.x_m || [0, 1];
    const { left, across } = this.plan || { left: 0, across: box.width };
    return low + clamp((clientX - box.left - left) / across, 0, 1) * (high - low);
  }

  key(event) {
    if (!this.frame) return;
    const [low, high] = this.frame.head.x_m;
    const step = event.shiftKey ? 1e-6 : (high - low) / this.columns;
    const from = this.cursor ?? (low + high) / 2;
    const marks = this.markPlaces();
    const moves = {
      ArrowLeft: () => from - step,
      ArrowRight: () => from + step,
      ArrowDown: () => from - 10 * step,
      ArrowUp: () => from + 10 * step,
      PageUp: () => marks.find((x) => x > from + 1e-9) ?? high,
      PageDown: () => marks.filter((x) => x < from - 1e-9).pop() ?? low,
      Home: () => low,
      End: () => high,
    };
    if (!moves[event.key]) return;
    event.preventDefault();
    this.point(clamp(moves[event.key](), low, high), event);
  }

  markPlaces() {
    const { orders, minima, ghosts } = this.frame.head.marks;
    return [...orders.map((o) => o[1]), ...minima.map((m) => m[0]), ...ghosts.map((g) => g[0])].sort((a, b) => a - b);
  }

  point(x_m) {
    this.cursor = x_m;
    this.soon();
    this.bench.pointed(x_m);
  }

  show(head, buffers) {
    const [painted, hues, profile, picture] = buffers;
    const frame = { head, profile: floats(profile), bitmap: null, sent: head.sent };
    this.put(this.hues, hues, head.columns, 1);
    if (picture.byteLength) {
      const blob = new Blob([bytes(picture)], { type: "image/png" });
      createImageBitmap(blob).then((bitmap) => { frame.bitmap = bitmap; this.frame = frame; this.soon(); });
      return;
    }
    this.put(this.rows, painted, head.columns, head.rows.length);
    this.frame = frame;
    this.soon();
  }

  put(canvas, data, width, height) {
    if (canvas.width !== width) canvas.width = width;
    if (canvas.height !== height) canvas.height = height;
    canvas.getContext("2d").putImageData(new ImageData(bytes(data), width, height), 0, 0);
  }

  soon() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => { this.asked = false; this.paint(); });
  }

  layout() {
    const style = getComputedStyle(this.bench.root);
    const hall = this.bench.root.classList.contains("hall");
    const letters = parseFloat(style.fontSize) * (hall ? 1 : 0.86);
    const width = this.element.clientWidth;
    const head = this.frame.head;
    const shape = (head.y_m[1] - head.y_m[0]) / (head.x_m[1] - head.x_m[0]);
    const whole = shape > 0.25; // an aperture in the plane: never out of proportion
    const room = hall ? innerHeight * 0.28 : Math.min(innerHeight * 0.22, 300);
    const least = hall ? innerHeight * 0.2 : 84;
    const plate = whole ? Math.min(width * shape, room * 1.7) : clamp(width * shape, least, room);
    const across = whole ? plate / shape : width;
    const profile = hall ? innerHeight * 0.19 : clamp(innerHeight * 0.15, 80, 190);
    const scale = Math.round(letters * (hall ? 1.7 : 1.9));
    const left = (width - across) / 2;
    return { width, across, left, letters, scale, plate, profile, height: 3 * scale + plate + profile, style, hall };
  }

  paint() {
    if (!this.frame || !this.element.clientWidth) return;
    const plan = this.layout();
    this.plan = plan;
    const ratio = devicePixelRatio;
    for (const canvas of [this.canvas, this.over]) {
      const [w, h] = [Math.round(plan.width * ratio), Math.round(plan.height * ratio)];
      if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    }
    this.canvas.style.height = `${plan.height}px`;
    const g = this.canvas.getContext("2d");
    g.setTransform(ratio, 0, 0, ratio, 0, 0);
    g.clearRect(0, 0, plan.width, plan.height);
    this.box = this.plateBox(plan);
    this.paintPlate(g, plan);
    this.paintProfile(g, plan);
    this.paintScales(g, plan);
    this.paintCursor(plan);
    this.bench.painted(this.frame);
  }

  plateBox(plan) {
    return { x: plan.left, y: plan.scale, w: plan.across, h: plan.plate };
  }

  paintPlate(g, plan) {
    const { x, y, w, h } = this.box;
    g.imageSmoothingEnabled = true;
    g.imageSmoothingQuality = "high";
    g.fillStyle = "#000";
    g.fillRect(x, y, w, h);
    if (this.frame.bitmap) g.drawImage(this.frame.bitmap, x, y, w, h);
    else stretch(g, this.rows, this.frame.head.rows, x, y, w, h);
  }

  px(x_m) {
    const [low, high] = this.frame.head.x_m;
    return this.plan.left + ((x_m - low) / (high - low)) * this.plan.across;
  }

  paintProfile(g, plan) {
    const top = 2 * plan.scale + plan.plate;
    const bottom = top + plan.profile;
    const values = this.frame.profile;
    const count = values.length;
    const level = this.logarithmic
      ? (v) => (v > 0 ? clamp(1 + Math.log10(v) / DECADES, 0, 1) : 0)
      : (v) => v;
    const path = new Path2D();
    const at = (column) => plan.left + (column / count) * plan.across;
    path.moveTo(plan.left, bottom);
    for (let column = 0; column < count; column += 1) {
      const y = bottom - level(values[column]) * (plan.profile - 4);
      path.lineTo(at(column), y);
      path.lineTo(at(column + 1), y);
    }
    path.lineTo(at(count), bottom);
    this.levelLines(g, plan, top, bottom);
    g.save();
    g.clip(path);
    g.drawImage(this.hues, 0, 0, count, 1, plan.left, top, plan.across, plan.profile);
    g.restore();
    g.strokeStyle = plan.style.getPropertyValue("--ink");
    g.lineWidth = parseFloat(plan.style.getPropertyValue("--line")) * 0.8;
    g.stroke(path);
    this.levelNumbers(g, plan, top, bottom);
  }

  levelLines(g, plan, top, bottom) {
    g.strokeStyle = plan.style.getPropertyValue("--rule");
    g.lineWidth = 1;
    g.beginPath();
    const lines = this.logarithmic ? DECADES : 4;
    for (let line = 1; line <= lines; line += 1) {
      const y = Math.round(bottom - (line / lines) * (plan.profile - 4)) + 0.5;
      g.moveTo(0, y);
      g.lineTo(plan.width, y);
    }
    g.stroke();
  }

  levelNumbers(g, plan, top, bottom) {
    const small = plan.letters * (plan.hall ? 0.7 : 0.85);
    g.font = `${small}px system-ui, "DejaVu Sans", sans-serif`;
    g.textBaseline = "top";
    g.textAlign = "right";
    const steps = this.logarithmic ? [10, 8, 6, 4, 2] : [4, 3, 2, 1];
    const lines = this.logarithmic ? DECADES : 4;
    for (const line of steps) {
      const power = String(DECADES - line).replace(/\d/g, (d) => "\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079"[d]);
      const text = line === lines ? "1" : this.logarithmic ? `10\u207b${power}` : String(line / 4);
      const y = bottom - (line / lines) * (plan.profile - 4) + 1;
      const width = g.measureText(text).width;
      g.fillStyle = plan.style.getPropertyValue("--surround");
      g.globalAlpha = 0.7;
      g.fillRect(plan.width - width - 8, y, width + 8, small * 1.15);
      g.globalAlpha = 1;
      g.fillStyle = plan.style.getPropertyValue("--ink");
      g.fillText(text, plan.width - 4, y + 1);
    }
  }

  paintScales(g, plan) {
    const marks = this.frame.head.marks;
    const [low, high] = this.frame.head.x_m;
    g.font = `${plan.letters}px system-ui, "DejaVu Sans", sans-serif`;
    g.textBaseline = "middle";
    const strings = this.bench.strings;
    const narrow = plan.hall || plan.width < 600;
    const below = plan.scale + plan.plate;
    const foot = below + plan.scale + plan.profile;
    const orders = marks.orders.map((o) => [o[1], minus(o[0]), o[2] < 1e-9]);
    const wave = digits(marks.wavelength_m * 1e9, 4);
    this.scale(g, plan, 0, orders, true, orders.length ? (plan.width < 600 ? strings.order_short : filled(strings.marks_label, { wave })) : "");
    this.ticks(g, plan, plan.scale, marks.minima.map((m) => m[0]), -5, 1);
    this.triangles(g, plan, plan.scale, marks.ghosts.map((m) => m[0]));
    const step = roundStep((high - low) / (plan.across / (plan.letters * 6)));
    const positions = [];
    for (let k = Math.ceil(low / step); k <= high / step; k += 1) {
      positions.push([k * step, minus(digits(k * step * 1e3, 6))]);
    }
    this.scale(g, plan, below, positions, false, narrow ? strings.position_short : strings.position);
    this.scale(g, plan, foot, marks.angles.map((a) => [a[1], minus(digits(a[0], 5))]), false, narrow ? strings.angle_short : strings.diffraction_angle);
  }

  triangles(g, plan, base, positions) {
    // ghosts: open triangles, told from orders by their shape
    const size = plan.letters * 0.36;
    g.strokeStyle = plan.style.getPropertyValue("--fault");
    g.lineWidth = plan.hall ? 3 : 1.4;
    for (const x of positions.map((x_m) => this.px(x_m))) {
      g.beginPath();
      g.moveTo(x, base - 1);
      g.lineTo(x - size, base - 2 * size);
      g.lineTo(x + size, base - 2 * size);
      g.closePath();
      g.stroke();
    }
  }

  ticks(g, plan, base, positions, length, width) {
    g.strokeStyle = plan.style.getPropertyValue("--quiet");
    g.lineWidth = plan.hall ? 3 : width;
    g.beginPath();
    for (const x of positions.map((x_m) => this.px(x_m))) {
      g.moveTo(x, base);
      g.lineTo(x, base + length);
    }
    g.stroke();
  }

  scale(g, plan, top, marks, upper, title) {
    const ink = plan.style.getPropertyValue("--ink");
    const base = upper ? top + plan.scale : top;
    const out = upper ? -7 : 7;
    g.strokeStyle = ink;
    g.fillStyle = ink;
    g.lineWidth = plan.hall ? 3 : 1.2;
    g.beginPath();
    for (const [x_m] of marks) {
      const x = this.px(x_m);
      g.moveTo(x, base);
      g.lineTo(x, base + out);
    }
    g.stroke();
    const middle = upper ? base - plan.scale * 0.62 : base + plan.scale * 0.62;
    const taken = this.titleOf(g, plan, title, middle);
    let free = taken;
    g.textAlign = "center";
    for (const [x_m, label, missing] of marks) {
      const x = this.px(x_m);
      const half = g.measureText(label).width / 2;
      if (x - half < free || x + half > plan.width) continue;
      g.globalAlpha = missing ? 0.5 : 1;
      g.fillText(missing ? `(${label})` : label, x, middle);
      g.globalAlpha = 1;
      free = x + half + plan.letters * 0.7;
    }
  }

  titleOf(g, plan, title, middle) {
    if (!title) return 0;
    g.globalAlpha = 0.75;
    g.textAlign = "left";
    g.fillText(title, 0, middle);
    g.globalAlpha = 1;
    return g.measureText(title).width + plan.letters;
  }

  paintCursor(plan) {
    const g = this.over.getContext("2d");
    g.setTransform(devicePixelRatio, 0, 0, devicePixelRatio, 0, 0);
    g.clearRect(0, 0, plan.width, plan.height);
    if (this.cursor === null) return;
    const x = this.px(this.cursor);
    for (const [colour, width] of [["#000", 3], ["#fff", 1]]) {
      g.strokeStyle = colour;
      g.lineWidth = plan.hall ? width * 2 : width;
      g.beginPath();
      g.moveTo(x, plan.scale * 0.3);
      g.lineTo(x, plan.height - plan.scale * 0.4);
      g.stroke();
    }
  }
}

function stretch(g, rows, heights, x, y, w, h) {
  // rows at unequal heights: between two of them light runs straight
  const columns = rows.width;
  const last = heights.length - 1;
  if (last === 0) { g.drawImage(rows, x, y, w, h); return; }
  const at = heights.map((part) => Math.round(y + part * h));
  g.drawImage(rows, 0, 0, columns, 1, x, y, w, at[0] - y);
  for (let row = 0; row < last; row += 1) {
    if (at[row + 1] > at[row]) g.drawImage(rows, 0, row + 0.5, columns, 1, x, at[row], w, at[row + 1] - at[row]);
  }
  g.drawImage(rows, 0, last, columns, 1, x, at[last], w, y + h - at[last]);
}

// ---------------------------------------------------------------- a handle: slider, field, lock

class Handle {
  constructor(bench, record) {
    this.bench = bench;
    this.id = `h${Math.random().toString(36).slice(2)}`;
    this.element = make("div", { class: "handle" });
    this.update(record, true);
  }

  update(record, whole = false) {
    const same = this.record && this.record.kind === record.kind && (this.record.value === null) === (record.value === null);
    const reach = this.dragging ? this.record : record;
    this.record = { ...record, low: reach.low, high: reach.high, logarithmic: reach.logarithmic };
    if (whole || !same) this.build();
    this.refresh();
  }

  build() {
    const { name, help, kind, choices } = this.record;
    const label = make("label", { for: this.id, title: help }, name);
    this.fault = make("p", { class: "fault", id: `${this.id}f` });
    this.slider = this.field = this.choice = null;
    if (kind === "note") {
      this.element.replaceChildren(make("p", { class: "quiet", title: help }, this.record.text));
    } else if (kind === "choice") {
      this.choice = make("select", { id: this.id, onchange: (e) => this.set(e.target.value) }, ...choices.map((c) => make("option", { value: c }, c)));
      this.element.replaceChildren(label, this.choice, this.fault);
    } else if (kind === "flag") {
      this.choice = make("input", { type: "checkbox", id: this.id, onchange: (e) => this.set(e.target.checked) });
      this.element.replaceChildren(label, this.choice, this.fault);
    } else {
      const hold = make("span", { class: "hold" }, this.makeLock(), this.makePlay());
      this.element.replaceChildren(label, this.makeField(), this.makeSlider(), hold, this.fault);
    }
  }

  makeField() {
    this.field = make("input", { type: "text", id: this.id, autocomplete: "off", spellcheck: "false", "aria-describedby": `${this.id}f` });
    this.field.addEventListener("change", () => this.set(this.typed()));
    this.field.addEventListener("focus", () => this.field.select());
    return this.field;
  }

  typed() {
    const text = this.field.value.trim();
    return ["number", "whole", "ratio"].includes(this.record.kind) && text !== "" && Number.isFinite(Number(text)) ? Number(text) : text;
  }

  makeLock() {
    this.lock = make("button", { type: "button", class: "small", "aria-pressed": "false", onclick: () => this.bench.toggleLock(this.record.path) });
    return this.lock;
  }

  makePlay() {
    this.play = make("button", { type: "button", class: "small", "aria-pressed": "false", onclick: () => this.bench.sweep(this) }, drawing([PLAY], [16, 16]));
    return this.play;
  }

  makeSlider() {
    this.slider = make("input", { type: "range", min: "0", max: "1000", step: "1" });
    this.slider.addEventListener("input", () => { this.dragging = true; this.slide(Number(this.slider.value) / 1000); });
    this.slider.addEventListener("change", () => { this.dragging = false; });
    this.slider.addEventListener("keydown", (event) => this.key(event));
    return this.slider;
  }

  key(event) {
    const steps = { PageUp: 50, PageDown: -50 };
    if (!(event.key in steps)) return;
    event.preventDefault();
    this.slider.value = String(clamp(Number(this.slider.value) + steps[event.key], 0, 1000));
    this.slide(Number(this.slider.value) / 1000);
  }

  slide(part) {
    const value = this.valueAt(part);
    this.record.value = value;
    this.set(this.given(value), this.written(value));
  }

  valueAt(part) {
    const { low, high, logarithmic, kind } = this.record;
    const value = logarithmic ? low * (high / low) ** part : low + (high - low) * part;
    return kind === "whole" ? Math.round(value) : value;
  }

  partOf(value) {
    const { low, high, logarithmic } = this.record;
    const part = logarithmic ? Math.log(value / low) / Math.log(high / low) : (value - low) / (high - low);
    return clamp(Number.isFinite(part) ? part : 0, 0, 1);
  }

  written(value) {
    const { kind, units } = this.record;
    if (kind === "whole") return String(value);
    const span = Math.abs(this.record.high - this.record.low);
    const neat = Math.abs(value) < span * 1e-4 ? 0 : value;
    if (!units.length) return digits(neat, 4);
    const suits = neat === 0 ? span / 2 : Math.abs(neat);
    const [size, unit] = units.find(([s]) => suits >= s * 0.9999) || units[units.length - 1];
    return `${digits(neat / size, 4)} ${unit}`;
  }

  given(value) {
    return this.record.units.length ? this.written(value) : Number(this.written(value));
  }

  set(value, text) {
    this.fault.textContent = "";
    if (this.field) {
      this.field.removeAttribute("aria-invalid");
      if (text !== undefined) this.field.value = text;
      this.speak(text ?? String(value));
    }
    this.bench.turn({ [this.record.path]: value });
  }

  speak(text) {
    this.slider.setAttribute("aria-valuetext", text);
  }

  complain(message) {
    this.fault.textContent = message;
    this.field?.setAttribute("aria-invalid", "true");
  }

  refresh() {
    const { kind, value, text, name, help, path } = this.record;
    const strings = this.bench.strings;
    this.fault.textContent = "";
    if (kind === "note") return;
    if (kind === "choice") this.choice.value = value;
    else if (kind === "flag") this.choice.checked = value;
    else {
      const locked = this.bench.locks.has(path);
      if (document.activeElement !== this.field) this.field.value = text;
      this.field.removeAttribute("aria-invalid");
      this.field.readOnly = this.slider.disabled = locked;
      this.slider.hidden = this.play.hidden = value === null;
      if (!this.dragging && value !== null) this.slider.value = String(Math.round(this.partOf(value) * 1000));
      this.slider.setAttribute("aria-label", `${name}. ${help}`);
      this.speak(text);
      this.lock.replaceChildren(drawing([locked ? PADLOCK : OPEN_PADLOCK], [16, 16]));
      this.lock.setAttribute("aria-pressed", String(locked));
      this.lock.setAttribute("aria-label", filled(locked ? strings.unlock : strings.lock, { name }));
      this.play.setAttribute("aria-label", filled(strings.sweep, { name }));
      this.lock.title = this.lock.getAttribute("aria-label");
      this.play.title = this.play.getAttribute("aria-label");
    }
  }
}

// ---------------------------------------------------------------- kept plates

class Pins {
  constructor(bench) {
    this.bench = bench;
    this.list = make("div");
    this.shared = make("input", { type: "checkbox", onchange: (e) => bench.line.ask("arrange", { shared: e.target.checked }) });
    this.element = make("section", { class: "pins" });
    this.head = null;
  }

  label(strings) {
    this.element.replaceChildren(
      make("div", { class: "actions" }, make("h2", {}, strings.pins), make("label", {}, this.shared, strings.pins_shared)),
      this.list,
    );
    if (!this.head) this.list.replaceChildren(make("p", { class: "quiet" }, strings.pins_none));
  }

  show(head, buffers) {
    this.head = head;
    this.buffers = buffers.map((buffer) => bytes(buffer));
    this.shared.checked = head.shared;
    this.draw();
  }

  draw() {
    if (!this.head) return;
    const { pins } = this.head;
    const low = Math.min(...pins.map((pin) => pin.x_m[0]));
    const high = Math.max(...pins.map((pin) => pin.x_m[1]));
    this.list.replaceChildren(...pins.map((pin, number) => this.row(pin, number, low, high)));
    if (!pins.length) this.list.replaceChildren(make("p", { class: "quiet" }, this.bench.strings.pins_none));
  }

  row(pin, number, low, high) {
    const strings = this.bench.strings;
    const button = (text, kind) => make("button", { type: "button", onclick: () => this.bench.line.ask(kind, { number }) }, text);
    const compared = pin.sentences.length ? `${strings.pin_first} ${pin.sentences.join("; ")}` : "";
    const caption = make("div", { class: "caption" },
      make("strong", {}, `${number + 1}  ${pin.title}`),
      make("span", {}, `${filled(strings.exposed, { time: pin.exposure })}${compared ? ". " + compared : ""}`),
      this.bench.follower ? null : button(strings.pin_back, "recall"),
      this.bench.follower ? null : button(strings.pin_away, "unpin"));
    return make("div", { class: "pin" }, caption, this.strip(pin, this.buffers[number], low, high));
  }

  strip(pin, data, low, high) {
    const rows = make("canvas", { width: String(pin.columns), height: String(pin.rows.length) });
    rows.getContext("2d").putImageData(new ImageData(data, pin.columns, pin.rows.length), 0, 0);
    const width = Math.round((this.element.clientWidth || 1000) * devicePixelRatio);
    const shape = (pin.y_m[1] - pin.y_m[0]) / (high - low);
    const height = clamp(Math.round(width * shape), 40, Math.round(width * 0.14));
    const canvas = make("canvas", { width: String(width), height: String(height), role: "img", "aria-label": pin.title });
    const g = canvas.getContext("2d");
    const at = (x) => ((x - low) / (high - low)) * width;
    stretch(g, rows, pin.rows, at(pin.x_m[0]), 0, at(pin.x_m[1]) - at(pin.x_m[0]), height);
    return canvas;
  }
}

// ---------------------------------------------------------------- the bench

class Bench {
  constructor(model, el) {
    this.model = model;
    this.counters = { sent: 0, frames: 0, painted: 0, unanswered: 0, latency: [], quality: "", server: [], bytes: 0 };
    this.line = new Line(model, this.counters);
    this.locks = new Set();
    this.handles = new Map();
    this.strings = {};
    this.text = null;
    this.paintTimes = [];
    this.root = make("div", { class: "bench" });
    Object.assign(this.root, { counters: this.counters, bench: this }); // for tests and the curious
    this.root.addEventListener("keydown", (event) => event.stopPropagation()); // JupyterLab's are its own
    el.replaceChildren(this.root);
    this.root.classList.toggle("light", matchMedia("(prefers-color-scheme: light)").matches);
    this.board = new Board(this);
    this.pins = new Pins(this);
    this.status = make("p", { class: "status", role: "alert" });
    this.spoken = make("p", { class: "visually", "aria-live": "polite" });
    this.root.append(this.status, this.spoken);
    model.on("msg:custom", (head, buffers) => this.receive(head, buffers || []));
    model.on("open", (text) => this.hello(text));
    model.on("lost", (message) => this.lost(message));
    document.addEventListener("visibilitychange", () => this.line.pump());
    if (!model.askForOwnBench) this.hello(null);
  }

  hello(text) {
    this.line.reset();
    const begun = this.text !== null;
    const kept = begun ? { pins: this.pins.head?.pins.map((pin) => pin.text) ?? [], locks: [...this.locks], tone: this.tone } : {};
    this.line.ask("hello", { columns: this.board.columns, text: this.text ?? text, ...kept });
  }

  lost(message) {
    this.stopSweep();
    this.status.textContent = message;
  }

  // ---- answers

  receive(head, buffers) {
    if (this.follower || head.follower) this.model.send({ kind: "ack" });
    const sent = this.line.answered(head.n ?? 0);
    if (typeof head.ms === "number" && head.kind === "frame") this.counters.server.push(head.ms);
    this.counters.bytes += buffers.reduce((sum, buffer) => sum + buffer.byteLength, 0);
    const works = {
      state: () => this.state(head),
      frame: () => this.frame({ ...head, sent }, buffers),
      cursor: () => this.point(head),
      pins: () => this.pins.show(head, buffers),
      locks: () => { this.locks = new Set(head.locks); for (const handle of this.handles.values()) handle.refresh(); },
      stage: () => this.say(filled(this.strings.computing, { stage: head.stage })),
      file: () => this.file(head, buffers[0]),
      cover: () => this.covered(head.covered),
      refused: () => this.refused(head),
    };
    works[head.kind]?.();
    if (head.kind === "cursor") this.line.askPlace();
  }

  state(head) {
    this.strings = head.strings;
    this.follower = Boolean(head.follower);
    this.record = head;
    this.text = head.text;
    this.tone = head.tone;
    this.locks = new Set(head.locks);
    this.status.textContent = "";
    this.build(head);
    this.fill(head.handles);
    this.editor.value = head.text;
    this.showCautions(head.cautions);
  }

  frame(head, buffers) {
    this.counters.frames += 1;
    if (head.text) { this.text = head.text; if (document.activeElement !== this.editor) this.editor.value = head.text; }
    if (head.handles) this.fill(head.handles);
    else this.values(head.values);
    this.head = head;
    this.title.textContent = head.title;
    const sentences = head.sentences || [];
    if (sentences.length) this.list.replaceChildren(...sentences.map((line) => make("li", {}, line)));
    if (head.quality !== "preview" && sentences.length) this.speak(sentences[0]);
    this.status.textContent = "";
    this.say("");
    this.board.show(head, buffers);
    if (head.quality === "preview") this.restSoon();
    if (this.board.cursor !== null && !this.follower) this.pointed(this.board.cursor);
  }

  painted(frame) {
    if (frame.counted) return;
    frame.counted = true;
    const now = performance.now();
    this.counters.painted += 1;
    this.counters.quality = frame.head.quality;
    if (frame.head.sent) this.counters.latency.push(now - frame.head.sent);
    this.paintTimes = [...this.paintTimes.filter((time) => now - time < 1000), now];
    this.showQuality();
  }

  showQuality() {
    if (!this.head) return;
    const { quality, columns, exposure } = this.head;
    const shown = filled(this.strings.quality[quality], { columns: columns.toLocaleString("en") });
    const rate = this.paintTimes.length > 2 ? filled(this.strings.rate, { rate: this.paintTimes.length }) : "";
    const time = filled(this.strings.exposed, { time: exposure });
    this.quality.textContent = [shown, time, rate].filter(Boolean).join("  \u00b7  ");
    clearTimeout(this.rateTimer);
    this.rateTimer = setTimeout(() => { this.paintTimes = []; this.showQuality(); }, 1500);
  }

  say(text) {
    if (text) this.quality.textContent = text;
  }

  speak(text) {
    clearTimeout(this.speakTimer);
    this.speakTimer = setTimeout(() => { this.spoken.textContent = text; }, SPEAK_MS);
  }

  refused(head) {
    const handle = this.handles.get(head.key) || [...this.handles.values()].find((h) => head.key && h.record.path.startsWith(`${head.key} :`));
    if (!this.record) return;
    if (head.of === "turn" && handle) handle.complain(head.message);
    else if (head.of === "read" || head.of === "hello") { this.verdict.textContent = head.message; this.panel.open = true; }
    else if (head.of !== "cursor") this.status.textContent = head.message;
    if (head.of === "turn") this.restSoon();
    this.showQuality();
  }

  file(head, content) {
    handOver(head.name, head.type, bytes(content));
    this.quality.textContent = filled(this.strings.saved, { name: head.name });
    this.counters.saved = { name: head.name, size: content.byteLength };
  }

  // ---- asking

  turn(changes) {
    this.line.turn(changes, this.board.columns);
    clearTimeout(this.restTimer);
    clearTimeout(this.busyTimer);
    this.busyTimer = setTimeout(() => { if (!this.line.idle) this.say(this.strings.busy); }, BUSY_MS);
  }

  restSoon() {
    clearTimeout(this.restTimer);
    if (this.follower) return;
    this.restTimer = setTimeout(() => {
      if (this.line.idle) this.line.ask("rest", { columns: this.board.columns });
    }, REST_MS);
  }

  toggleLock(path) {
    const locks = new Set(this.locks);
    if (!locks.delete(path)) locks.add(path);
    this.line.ask("lock", { locks: [...locks] });
  }

  pointed(x_m) {
    if (this.follower) return;
    this.line.point(x_m, false);
    clearTimeout(this.dwellTimer);
    this.dwellTimer = setTimeout(() => this.line.point(x_m, true), DWELL_MS);
  }

  point(head) {
    const strings = this.strings;
    const parts = [
      filled(strings.place, { x: minus((head.x_m * 1e3).toFixed(3)) }),
      filled(strings.angle, { angle: minus(((head.beta_rad * 180) / Math.PI).toFixed(4)) }),
    ];
    const nm = (metres) => (metres * 1e9).toFixed(1);
    if (head.order !== null) parts.push(filled(strings.order_at, { order: minus(head.order.toFixed(3)), wave: nm(head.wavelength_m) }));
    const level = head.stops === null ? strings.no_light
      : filled(strings.level, { relative: head.relative.toPrecision(3), stops: minus((head.stops > 0 ? "+" : "") + head.stops.toFixed(1)) });
    parts.push(level);
    let colour = head.colour;
    if (head.dominant_m) colour += `, ${filled(strings.dominant, { wave: nm(head.dominant_m) })}`;
    parts.push(colour);
    this.patch.style.backgroundColor = `rgb(${head.patch.join(",")})`;
    this.line1.textContent = parts.join("  \u00b7  ");
    const list = head.whole.map(([m, w]) => filled(strings.whole_one, { wave: nm(w), order: minus(m) })).join(", ");
    this.line2.textContent = list ? filled(strings.whole, { list }) : "";
    this.board.over.setAttribute("aria-valuetext", `${parts[0]}, ${parts[parts.length - 1]}`);
    this.board.over.setAttribute("aria-valuenow", (head.x_m * 1e3).toFixed(3));
    if (head.why) this.showWhy(head);
    else this.why.textContent = "";
    this.drawSpectrum(head.why ? head.spectrum : null);
  }

  showWhy(head) {
    this.why.textContent = head.sentences.join(". ");
    this.speak(`${this.line1.textContent}. ${head.sentences[0]}`);
  }

  drawSpectrum(spectrum) {
    const canvas = this.spectrum;
    const width = (canvas.width = Math.round(canvas.clientWidth * devicePixelRatio) || 1);
    const height = (canvas.height = Math.round(canvas.clientHeight * devicePixelRatio) || 1);
    if (!spectrum) return;
    const g = canvas.getContext("2d");
    const style = getComputedStyle(this.root);
    const letters = 11 * devicePixelRatio;
    const [low, high] = [400e-9, 720e-9];
    const px = (wave) => ((wave - low) / (high - low)) * width;
    const base = height - letters * 1.3;
    g.fillStyle = style.getPropertyValue("--quiet");
    g.font = `${letters}px system-ui, sans-serif`;
    g.textAlign = "center";
    for (const nm of [400, 500, 600, 700]) {
      const label = nm === 700 ? "700 nm" : String(nm);
      const half = g.measureText(label).width / 2;
      g.fillText(label, Math.min(Math.max(px(nm * 1e-9), half), width - half), height - 2);
      g.fillRect(px(nm * 1e-9), base, devicePixelRatio, 4);
    }
    g.strokeStyle = style.getPropertyValue("--ink");
    g.lineWidth = devicePixelRatio * 1.2;
    g.beginPath();
    spectrum.wavelength_m.forEach((wave, k) => g.lineTo(px(wave), base - spectrum.relative[k] * (base - 4)));
    g.stroke();
  }

  // ---- covering, sweeping, the hall

  covered(covered) {
    this.cover.hidden = !covered;
    this.coverButton.setAttribute("aria-pressed", String(covered));
    if (!covered) this.board.soon();
  }

  sweep(handle) {
    if (this.sweeping) { this.stopSweep(); return; }
    let step = Math.round(handle.partOf(handle.record.value) * SWEEP_STEPS);
    let way = 1;
    handle.dragging = true;
    handle.play.setAttribute("aria-pressed", "true");
    const timer = setInterval(() => {
      if (!this.line.idle) return;
      if (step + way > SWEEP_STEPS || step + way < 0) way = -way;
      step += way;
      handle.slider.value = String(Math.round((step / SWEEP_STEPS) * 1000));
      handle.slide(step / SWEEP_STEPS);
    }, SWEEP_MS);
    this.sweeping = { timer, handle };
    this.stopButton.hidden = this.recordButton.hidden = false;
  }

  stopSweep() {
    if (!this.sweeping) return;
    clearInterval(this.sweeping.timer);
    this.sweeping.handle.dragging = false;
    this.sweeping.handle.play.setAttribute("aria-pressed", "false");
    this.sweeping = null;
    this.stopButton.hidden = this.recordButton.hidden = true;
    this.recorder?.stop();
  }

  startRecording() {
    if (!window.MediaRecorder || !this.board.canvas.captureStream) { this.status.textContent = this.strings.no_recording; return; }
    const pieces = [];
    this.recorder = new MediaRecorder(this.board.canvas.captureStream(30), { videoBitsPerSecond: 12e6 });
    this.recorder.ondataavailable = (event) => pieces.push(event.data);
    this.recorder.onstop = () => {
      const blob = new Blob(pieces, { type: "video/webm" });
      this.counters.recorded = blob.size;
      handOver("sweep.webm", "video/webm", blob);
      this.recorder = null;
      this.recordButton.setAttribute("aria-pressed", "false");
    };
    this.recorder.start(500);
    this.recordButton.setAttribute("aria-pressed", "true");
  }

  hall(on) {
    this.root.classList.toggle("hall", on);
    this.hallButton.textContent = on ? this.strings.leave_hall : this.strings.hall;
    if (on) this.root.requestFullscreen?.().catch(() => {});
    else if (document.fullscreenElement) document.exitFullscreen();
    if (!on) this.lifted(0);
    else this.lifted(Number(this.black.value));
    this.board.soon();
  }

  lifted(level) {
    for (const lift of this.root.querySelectorAll(".lift")) lift.style.backgroundColor = `rgb(${level},${level},${level})`;
  }

  seeWith(eyes) {
    const filter = eyes === "none" ? "" : `url(#${eyes})`;
    for (const part of [this.board.canvas, this.patch, this.pins.list]) part.style.filter = filter;
  }

  // ---- building the page

  build(head) {
    const strings = this.strings;
    const button = (text, work, more = {}) => make("button", { type: "button", onclick: work, ...more }, text);
    this.title = make("h1", {}, head.title);
    this.quality = make("span", { class: "quality" });
    this.hallButton = button(strings.hall, () => this.hall(!this.root.classList.contains("hall")));
    const surround = button("\u25d0", () => { this.root.classList.toggle("light"); this.board.soon(); this.pins.draw(); }, { class: "surround", "aria-label": strings.surround, title: strings.surround });
    const top = make("header", {}, this.title, this.quality, this.sceneMenu(strings, head.scenes), this.hallButton, surround);
    this.buildBoard(strings, button);
    this.list = make("ul", { class: "sentences" });
    this.cautions = make("div");
    this.rail = make("section", { class: "rail" });
    this.buildEditor(strings, button);
    this.pins.label(strings);
    this.root.replaceChildren(this.eyesFilters(), top, this.status, this.spoken, this.board.element,
      this.cautions, this.readout(strings), this.hallBar(strings), this.rail, this.actions(strings, button, head), this.list,
      this.pins.element, this.follower ? "" : this.panel);
    this.follow(strings, button, head);
    this.handles.clear();
    this.dropping();
  }

  buildBoard(strings, button) {
    this.cover = make("div", { class: "cover", hidden: true }, make("p", {}, strings.covered), button(strings.uncover, () => this.line.ask("cover", { covered: false }), { class: "chief" }));
    this.board.element.querySelector(".cover")?.remove();
    this.board.element.append(this.cover);
    const over = this.board.over;
    over.setAttribute("aria-label", `${strings.plate_label}. ${strings.plate_help}`);
    over.setAttribute("aria-orientation", "horizontal");
    over.setAttribute("aria-valuemin", "-1000");
    over.setAttribute("aria-valuemax", "1000");
    over.setAttribute("aria-valuenow", "0");
  }

  readout(strings) {
    this.patch = make("div", { class: "patch", role: "img", "aria-label": strings.colour });
    this.line1 = make("p", {}, strings.plate_help);
    this.line2 = make("p", { class: "quiet" });
    this.why = make("p", { class: "why" });
    this.spectrum = make("canvas", { class: "spectrum", role: "img", "aria-label": strings.spectrum });
    return make("section", { class: "readout", hidden: this.follower }, this.patch, make("div", {}, this.line1, this.line2, this.why), this.spectrum);
  }

  actions(strings, button, head) {
    const scale = make("select", { onchange: (e) => { this.board.logarithmic = e.target.value === "log"; this.board.soon(); } },
      make("option", { value: "linear" }, strings.scale_linear), make("option", { value: "log" }, strings.scale_log));
    scale.value = this.board.logarithmic ? "log" : "linear";
    const tone = make("select", { onchange: (e) => { this.tone = e.target.value; this.line.ask("look", { tone: this.tone }); } }, ...head.tones.map((t) => make("option", { value: t }, strings.tones[t])));
    tone.value = head.tone;
    this.wave = make("input", { type: "text", size: 8, onchange: (e) => this.marksFor(e.target.value) });
    const eyes = make("select", { onchange: (e) => this.seeWith(e.target.value) }, ...Object.entries(strings.eyes_choices).map(([key, text]) => make("option", { value: key }, text)));
    this.coverButton = button(strings.cover, () => this.line.ask("cover", { covered: this.cover.hidden }), { "aria-pressed": "false" });
    this.stopButton = button(strings.stop, () => this.stopSweep(), { hidden: true });
    this.recordButton = button(strings.record, () => (this.recorder ? this.recorder.stop() : this.startRecording()), { hidden: true, "aria-pressed": "false" });
    const mine = this.follower ? [] : [
      button(strings.release, () => this.line.ask("expose"), { class: "chief" }),
      button(strings.pin, () => this.line.ask("pin")), this.coverButton, this.stopButton, this.recordButton, this.saving(strings),
    ];
    return make("div", { class: "actions" }, ...mine,
      make("label", {}, strings.profile, scale),
      this.follower ? "" : make("label", { class: "menu" }, strings.tone, tone),
      this.follower ? "" : make("label", { class: "menu" }, strings.marks_for, this.wave),
      make("label", { class: "menu" }, strings.eyes, eyes));
  }

  marksFor(text) {
    const number = parseFloat(text);
    const wavelength = Number.isFinite(number) ? number * (text.includes("um") ? 1e-6 : 1e-9) : null;
    this.line.ask("look", { wavelength_m: wavelength });
  }

  saving(strings) {
    const what = make("select", { "aria-label": strings.save });
    what.append(make("option", { value: "" }, strings.save));
    for (const kind of ["scene", "plate", "picture"]) what.append(make("option", { value: kind }, strings[`save_${kind}`]));
    for (const paper of ["A4", "letter"]) what.append(make("option", { value: `sheet ${paper}` }, `${strings.save_sheet}, ${paper}`));
    what.addEventListener("change", () => {
      const [kind, paper] = what.value.split(" ");
      if (kind) this.line.ask("save", { what: kind, paper: paper || "A4" });
      what.value = "";
    });
    return make("label", { class: "save" }, what);
  }

  hallBar(strings) {
    this.black = make("input", { type: "range", min: "0", max: "60", step: "1", value: "0", oninput: (e) => this.lifted(Number(e.target.value)) });
    const steps = WEDGE.map((level, number) => {
      const step = make("span", { title: String(number) });
      step.style.backgroundColor = `rgb(${level},${level},${level})`;
      return step;
    });
    return make("div", { class: "hallbar" }, make("label", {}, strings.black, " ", this.black),
      make("div", { class: "wedge" }, ...steps, make("div", { class: "lift" })), make("span", { class: "quiet" }, strings.wedge));
  }

  eyesFilters() {
    const ns = "http://www.w3.org/2000/svg";
    const svg = document.createElementNS(ns, "svg");
    svg.setAttribute("class", "visually");
    svg.setAttribute("aria-hidden", "true");
    for (const [name, m] of Object.entries(EYES)) {
      const filter = document.createElementNS(ns, "filter");
      filter.setAttribute("id", name);
      filter.setAttribute("color-interpolation-filters", "linearRGB");
      const matrix = document.createElementNS(ns, "feColorMatrix");
      matrix.setAttribute("values", [0, 3, 6].map((k) => `${m[k]} ${m[k + 1]} ${m[k + 2]} 0 0`).join(" ") + " 0 0 0 1 0");
      filter.append(matrix);
      svg.append(filter);
    }
    return svg;
  }

  buildEditor(strings, button) {
    this.editor = make("textarea", { spellcheck: "false", "aria-label": strings.text });
    this.verdict = make("p", { class: "status", role: "alert" });
    const read = () => { this.verdict.textContent = ""; this.line.ask("read", { text: this.editor.value }); };
    this.panel = make("details", {}, make("summary", {}, strings.text), make("p", { class: "quiet" }, strings.text_help), this.verdict, this.editor,
      make("div", { class: "actions" }, button(strings.text_apply, read, { class: "chief" }), button(strings.link, () => this.copyLink())));
  }

  sceneMenu(strings, scenes) {
    if (!scenes.length || this.follower) return "";
    const choose = (e) => e.target.value && this.line.ask("choose", { number: Number(e.target.value) });
    return make("select", { class: "menu", "aria-label": strings.scene_menu, onchange: choose },
      make("option", { value: "" }, strings.scene_menu), ...scenes.map((title, k) => make("option", { value: String(k) }, title)));
  }

  copyLink() {
    const address = `${location.origin}${location.pathname}#scene=${hashOf(this.editor.value)}`;
    this.counters.link = address;
    this.verdict.textContent = address; // where a page may not copy, a hand can
    navigator.clipboard?.writeText(address).then(() => { this.verdict.textContent = this.strings.linked; }, () => {});
  }

  dropping() {
    if (this.follower || this.dropListening) return;
    this.dropListening = true;
    this.root.addEventListener("dragover", (event) => event.preventDefault());
    this.root.addEventListener("drop", async (event) => {
      event.preventDefault();
      const file = event.dataTransfer.files[0];
      if (file && file.size < 65536) this.line.ask("read", { text: await file.text() });
    });
  }

  follow(strings, button, head) {
    if (this.follower) {
      this.rail.replaceChildren(make("p", {}, strings.following), button(strings.own, () => this.model.askForOwnBench()));
    } else if (head.share) {
      const picture = drawing([head.share.code], [head.share.size, head.share.size]);
      picture.setAttribute("class", "code");
      this.panel.after(make("details", {}, make("summary", {}, strings.share), make("p", {}, strings.share_help), make("p", { class: "address" }, head.share.address), picture));
    }
  }

  showCautions(cautions) {
    this.cautions.replaceChildren(...cautions.map((text) => make("p", { class: "caution" }, text)));
  }

  // ---- handles on the rail

  fill(records) {
    if (this.follower) return;
    const paths = records.map((record) => record.path).join("|");
    if (paths !== this.paths || !this.rail.childElementCount) {
      this.paths = paths;
      this.handles.clear();
      const stations = Map.groupBy ? Map.groupBy(records, (r) => r.station) : grouped(records);
      this.rail.replaceChildren(...[...stations].map(([name, some]) => this.station(name, some)));
    } else {
      for (const record of records) this.handles.get(record.path).update(record);
    }
  }

  station(name, records) {
    const glyph = drawing(GLYPHS[name], [40, 42], name);
    glyph.setAttribute("class", "glyph");
    const handles = records.map((record) => {
      const handle = new Handle(this, record);
      this.handles.set(record.path, handle);
      return handle.element;
    });
    const more = name === "exposure" ? [this.holdButton()] : [];
    return make("section", { class: "station" }, make("div", { class: "mount" }, glyph, make("h2", {}, this.strings.stations[name])), ...handles, ...more);
  }

  holdButton() {
    const held = () => this.handles.get("exposure.time")?.record.value !== null;
    const button = make("button", { type: "button" });
    const name = () => { button.textContent = held() ? this.strings.auto_time : this.strings.hold_time; };
    button.addEventListener("click", () => {
      const time = `${this.head.exposure_s.toPrecision(6)} s`;
      if (held()) this.turn({ "exposure.time": "auto", "exposure.over": this.over ?? 0 });
      else {
        this.over = this.handles.get("exposure.over")?.record.value ?? 0;
        this.turn({ "exposure.over": null, "exposure.time": time });
      }
    });
    setTimeout(name);
    this.nameHold = name;
    return button;
  }

  values(values) {
    for (const [path, [value, text]] of Object.entries(values)) {
      const handle = this.handles.get(path);
      if (handle && !(handle.dragging && handle.record.path === path)) handle.update({ ...handle.record, value, text });
    }
    this.nameHold?.();
  }
}

function grouped(records) {
  const groups = new Map();
  for (const record of records) groups.set(record.station, [...(groups.get(record.station) || []), record]);
  return groups;
}

export default {
  render({ model, el }) {
    new Bench(model, el);
  },
};
