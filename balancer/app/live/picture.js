// The live picture: listens to the server's own route and draws; it sends nothing.
// Colours are those of balancer/figures/palette.py: at least 3:1 on both grounds, for lines, not for text.
const BLUE = "#0b6bcb", ORANGE = "#c2410c", GREY = "#6b7280", AMBER = "#d97706";
const SILENT = 2; // s without data until it says so
const PATIENCE = 3000; // ms for the first connection
const CALM = 250; // ms between two changes of a figure: quicker, nobody reads it
const SPEAK = 1000; // ms between two changes of what a screen reader finds
const instances = new WeakMap();

export default function ({ data, parentElement }) {
  let live = instances.get(parentElement);
  if (!live) instances.set(parentElement, (live = new Live(parentElement, data)));
  live.choose(data);
  return () => { live.end(); instances.delete(parentElement); };
}

// ------------------------------------------------------------------ messages

function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  let at = 4 + length;
  for (const [name, rows, columns] of header.arrays) {
    header[name] = Array.from({ length: rows }, (_, k) => new Float32Array(buffer, at + 4 * k * columns, columns));
    at += 4 * rows * columns;
  }
  return header;
}

// Accelerations come in m/s²; they are turned into the unit shown as they come, and once more when it is changed.
function inUnit(message, factor) {
  const by = factor / (message?.factor ?? 1);
  if (!message || by === 1) return;
  message.factor = factor;
  const rows = [message.rms, message.cloud?.amplitude, message.cloud?.sd_amplitude];
  for (const name of ["now", "real", "imag", "mean", "scatter"]) rows.push(...(message[name] ?? []));
  for (const name of Object.keys(message)) if (/^(spectrum|trace)\d+$/.test(name)) rows.push(message[name][1]);
  for (const row of rows) row?.forEach((value, k) => { if (value !== null) row[k] = value * by; });
  for (const one of message.spectra?.highest ?? []) if (one[1] !== null) one[1] *= by;
}

// ------------------------------------------------------------------ numbers

function digits(value, count = 3) {
  if (value === null || value === undefined || !isFinite(value)) return "–";
  if (value === 0) return "0";
  const decimals = count - 1 - Math.floor(Math.log10(Math.abs(value)));
  return value.toFixed(Math.min(Math.max(decimals, 0), 6));
}

function niceStep(span, most) {
  const power = 10 ** Math.floor(Math.log10(span / most));
  for (const step of [1, 2, 2.5, 5, 10]) if (Math.ceil(span / (step * power) - 1e-9) <= most) return step * power;
  return 10 * power;
}

function round(value) { return String(parseFloat(value.toPrecision(6))); }

// A scale that grows at once and shrinks late, so that the picture does not breathe.
class Reach {
  constructor() { this.top = 0; }
  of(value) {
    if (!(value > 0)) return this.top || 1;
    if (value > this.top || value < 0.35 * this.top) {
      const step = niceStep(1.1 * value, 4);
      this.top = step * Math.ceil((1.1 * value) / step - 1e-9);
    }
    return this.top;
  }
}

// ------------------------------------------------------------------ canvas

class Canvas {
  constructor(figure) {
    this.element = figure.querySelector("canvas");
    this.caption = figure.querySelector("figcaption");
    this.frames = 0;
  }
  begin(look) {
    const ratio = window.devicePixelRatio || 1;
    const width = this.element.clientWidth, height = this.element.clientHeight;
    if (this.element.width !== Math.round(width * ratio) || this.element.height !== Math.round(height * ratio)) {
      this.element.width = Math.round(width * ratio);
      this.element.height = Math.round(height * ratio);
    }
    const context = this.element.getContext("2d");
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    context.clearRect(0, 0, width, height);
    context.lineJoin = context.lineCap = "round";
    Object.assign(this, { context, width, height, look });
    this.element.dataset.frames = ++this.frames;
    return context;
  }
  // What stays the same from frame to frame is drawn once and laid under what moves.
  layer(key, draw) {
    const { width, height } = this.element, all = JSON.stringify([width, height, this.look, key]);
    if (this.key !== all) {
      this.key = all;
      this.back = Object.assign(document.createElement("canvas"), { width, height });
      const front = this.context;
      this.context = this.back.getContext("2d");
      this.context.setTransform(front.getTransform());
      draw();
      this.context = front;
    }
    this.context.drawImage(this.back, 0, 0, this.width, this.height);
  }
  say(words) { if (this.caption.textContent !== words) this.caption.textContent = words; }
  text(words, x, y, { align = "center", size = 15, bold = false } = {}) {
    const c = this.context;
    c.font = `${bold ? 700 : 400} ${size}px ${this.look.font}`;
    c.textAlign = align;
    c.textBaseline = "middle";
    c.lineWidth = 4;
    c.strokeStyle = this.look.ground; // words stay readable on top of lines
    c.strokeText(words, x, y);
    c.fillStyle = this.look.ink;
    c.fillText(words, x, y);
  }
  line(points, colour, width, dash = []) {
    const c = this.context;
    c.beginPath();
    points.forEach(([x, y], k) => (k ? c.lineTo(x, y) : c.moveTo(x, y)));
    c.strokeStyle = colour;
    c.lineWidth = width;
    c.setLineDash(dash);
    c.stroke();
    c.setLineDash([]);
  }
}

// Axes of a plot: give functions that place a point.
function axes(canvas, { x: [x0, x1], y: [y0, y1], ticks, title, unit, names = round }) {
  const box = { left: 52, right: canvas.width - 22, top: 26, bottom: canvas.height - 46 };
  const px = (x) => box.left + ((x - x0) / (x1 - x0)) * (box.right - box.left);
  const py = (y) => box.bottom - ((y - y0) / (y1 - y0)) * (box.bottom - box.top);
  const step = niceStep(y1 - y0, 5);
  canvas.layer([x0, x1, y0, y1, title, unit], () => {
    for (let y = Math.ceil(y0 / step - 1e-9) * step; y <= y1 + 1e-9 * step; y += step) {
      canvas.line([[box.left, py(y)], [box.right, py(y)]], canvas.look.grid, 0.6);
      canvas.text(round(Math.abs(y) < step / 1e6 ? 0 : y), box.left - 6, py(y), { align: "right" });
    }
    for (const x of ticks) {
      canvas.line([[px(x), box.bottom], [px(x), box.bottom + 5]], canvas.look.grid, 1);
      canvas.text(names(x), px(x), box.bottom + 16);
    }
    canvas.text(title, (box.left + box.right) / 2, canvas.height - 10);
    canvas.text(unit, 4, 10, { align: "left" });
  });
  const clip = (draw) => {
    const c = canvas.context;
    c.save();
    c.beginPath();
    c.rect(box.left, box.top - 4, box.right - box.left, box.bottom - box.top + 8);
    c.clip();
    draw();
    c.restore();
  };
  return { px, py, box, clip };
}

// ------------------------------------------------------------------ the live picture

class Live {
  constructor(parent, data) {
    const find = (selector) => parent.querySelector(selector);
    this.host = find(".live");
    this.told = find(".told");
    this.spoken = find(".spoken");
    this.canvases = {};
    for (const name of ["polar", "spectrum", "folded"]) {
      this.canvases[name] = new Canvas(find(`[data-picture=${name}]`));
    }
    this.reaches = { polar: new Reach(), spectrum: new Reach(), folded: new Reach() };
    this.still = matchMedia("(prefers-reduced-motion: reduce)");
    this.begun = performance.now();
    this.delay = 1000;
    this.drawn = -1e9;
    this.connected = this.ever = this.over = this.asked = false;
    this.axis = -1; // not picked yet
    this.now = this.slow = null;
    this.cameAt = 0;
    this.path = data.path;
    this.resized = new ResizeObserver(() => this.redraw());
    this.resized.observe(this.host);
    this.timer = setInterval(() => this.figures(), CALM);
    this.speaker = setInterval(() => this.speak(), SPEAK);
    this.connect();
  }

  choose(data) {
    this.chosen = { ...data, marked: JSON.parse(data.marked), factor: Number(data.factor) };
    for (const message of [this.now, this.slow]) inUnit(message, this.chosen.factor);
    for (const place of this.host.querySelectorAll(".unit")) place.textContent = data.unit;
    this.redraw();
  }

  end() {
    this.over = true;
    clearInterval(this.timer);
    clearInterval(this.speaker);
    clearTimeout(this.again);
    this.resized.disconnect();
    this.socket?.close();
  }

  // ---- the way to the server

  connect() {
    if (this.over) return;
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    this.socket = new WebSocket(`${scheme}://${location.host}${this.path}`);
    this.socket.binaryType = "arraybuffer";
    this.socket.onopen = () => { this.connected = this.ever = true; this.delay = 1000; this.host.dataset.connected = "yes"; };
    this.socket.onmessage = ({ data }) => this.take(unpack(data));
    this.socket.onclose = () => {
      this.connected = false;
      this.host.dataset.connected = "no";
      if (this.over) return;
      this.again = setTimeout(() => this.connect(), this.delay);
      this.delay = Math.min(2 * this.delay, 5000);
      this.figures();
    };
  }

  take(message) {
    inUnit(message, this.chosen.factor);
    if (message.kind === "slow") { this.slow = message; return this.redraw(); }
    if (message.state === "off" || message.state === "starting") {
      this.slow = null;
      this.axis = -1;
    }
    const fresh = !this.now || message.number !== this.now.number || message.state !== this.now.state;
    this.now = message;
    this.cameAt = performance.now();
    if (fresh) this.redraw();
  }

  // ---- what is known

  get age() {
    if (!this.now || this.now.age === null || this.now.age === undefined) return Infinity;
    return this.now.age + (performance.now() - this.cameAt) / 1000;
  }

  get running() { return !!this.now?.axes && this.age < SILENT && this.now.state === "running"; }

  trouble() {
    const now = this.now;
    if (!this.connected && !this.ever) {
      if (performance.now() - this.begun < PATIENCE) return "";
      return "The live picture cannot be reached: choose “Plain picture” above.";
    }
    if (!this.connected) return "Connection lost: is the program still running? Trying again.";
    if (!now) return "";
    if (now.state === "off") return "No data: no source is started yet.";
    if (now.state === "starting") return "The source is being started.";
    if (now.state === "stopped") return now.trouble || "No data: stopped.";
    if (now.state === "lost") return `No data: ${now.trouble || "the source is lost"}`;
    if (!isFinite(this.age)) return "Waiting for the first samples.";
    if (this.age >= SILENT) return `No data for ${this.age.toFixed(0)} s: is the board running, and its cable in?`;
    return "";
  }

  pickAxis() {
    const names = this.now?.axes ?? this.slow?.axes ?? [];
    const wanted = names.indexOf(this.chosen.axis);
    if (wanted >= 0) return (this.axis = wanted);
    const heights = this.slow?.cloud?.amplitude ?? this.now?.rms ?? [], best = heights.indexOf(Math.max(...heights));
    // the strongest; another one only when it is clearly stronger, so that the picture does not jump
    const settled = this.axis >= 0 && this.axis < names.length && this.settled;
    if (!settled || heights[best] > 1.2 * heights[this.axis]) this.axis = Math.max(best, 0);
    this.settled = !!this.slow?.cloud || this.now?.rpm === null;
    return this.axis;
  }

  shownDegrees(against) {
    const angle = this.chosen.direction === "with" ? -against : against;
    return ((Math.round(angle) % 360) + 360) % 360;
  }

  // ---- figures

  set(name, value, note, words = false) {
    const box = this.host.querySelector(`[data-figure=${name}]`);
    const [shown, small] = [box.querySelector(".value"), box.querySelector(".note")];
    if (shown.textContent !== value) shown.textContent = value;
    if (small.textContent !== note) small.textContent = note;
    shown.classList.toggle("words", words);
  }

  figures() {
    const trouble = this.trouble();
    if (this.told.textContent !== trouble) this.told.textContent = trouble;
    this.told.hidden = !trouble;
    this.host.dataset.state = this.running ? "data" : "no data";
    if (!this.running || !this.connected) {
      const seen = isFinite(this.age) ? `last ${this.age.toFixed(0)} s ago` : "";
      for (const name of ["speed", "steady", "amplitude", "phase", "level"]) this.set(name, "no data", seen, true);
      if (!this.connected || this.drawnRunning) this.redraw();
      return;
    }
    const now = this.now, axis = this.pickAxis(), cloud = this.slow?.cloud;
    const age = `${this.age.toFixed(1)} s ago`, name = now.axes[axis];
    if (now.rpm === null) {
      this.set("speed", "–", `unknown: no marks come; ${age}`);
      this.set("steady", "–", "needs marks");
      this.set("amplitude", "–", "needs marks");
      this.set("phase", "–", "needs marks");
    } else {
      this.set("speed", Math.round(now.rpm).toLocaleString("en-US"), age);
      const still = `within the band for ${now.still.toFixed(0)} s, ${age}`;
      this.set("steady", now.steady ? `● ${now.still.toFixed(0)} s` : "▲ no", now.steady ? `steady, ${age}` : still);
      if (cloud) {
        const over = `over ${cloud.seconds.toFixed(0)} s, ${age}`;
        this.set("amplitude", digits(cloud.amplitude[axis]), `± ${digits(cloud.sd_amplitude[axis], 2)} on ${name}, ${over}`);
        const sure = cloud.sd_lag[axis] !== null && cloud.sd_lag[axis] < 60;
        const phase = sure ? `${this.shownDegrees(cloud.lag[axis])}°` : "–";
        const off = sure ? `± ${digits(cloud.sd_lag[axis], 2)}°` : "wanders all round";
        this.set("phase", phase, `${off}, ${this.chosen.direction} the rotation, ${age}`);
      } else {
        this.set("amplitude", "–", "a moment");
        this.set("phase", "–", "a moment");
      }
    }
    this.set("level", digits(now.rms[axis]), `on ${name}, over the last 1 s, ${age}`);
  }

  speak() {
    const trouble = this.trouble();
    let words = trouble;
    if (!trouble && this.running) {
      words = [...this.host.querySelectorAll(".figure")].map((box) =>
        [...box.children].map((part) => part.textContent).join(" ")).join("; ");
    }
    this.spoken.textContent = words;
    for (const [name, canvas] of Object.entries(this.canvases)) {
      const title = { polar: "1x vectors seen from the front, the mark at the top", spectrum: "Spectrum", folded: "Signal" }[name];
      canvas.element.setAttribute("aria-label", `${title}. ${trouble || canvas.caption.textContent || "Nothing yet."}`);
    }
  }

  // ---- pictures

  redraw() {
    if (this.asked || this.over) return;
    this.asked = true;
    const wait = this.still.matches ? Math.max(500 - (performance.now() - this.drawn), 0) : 0;
    const go = () => requestAnimationFrame(() => { this.asked = false; this.draw(); });
    if (wait) setTimeout(go, wait); else go();
  }

  look() {
    const style = getComputedStyle(this.host);
    const ink = style.color, ground = style.getPropertyValue("--st-background-color") || "#fff";
    return { ink, ground, grid: GREY, font: style.fontFamily };
  }

  draw() {
    if (this.over || this.host.clientWidth < 200) return; // on its way out of the page
    this.drawn = performance.now();
    this.drawnRunning = this.running;
    const look = this.look(), axis = this.pickAxis();
    for (const name of ["polar", "folded"]) {
      this.canvases[name].begin(look);
      this[name](this.canvases[name], axis);
    }
    const spectrum = this.canvases.spectrum, size = [spectrum.element.clientWidth, spectrum.element.clientHeight];
    const drawn = JSON.stringify([this.slow?.number, axis, look, size, this.chosen, window.devicePixelRatio]);
    if (drawn !== this.spectrumDrawn) { // it changes a few times a second only
      this.spectrumDrawn = drawn;
      spectrum.begin(look);
      this.spectrum(spectrum, axis);
    }
    // what is old is shown pale
    const pale = this.running && this.connected ? "1" : "0.35";
    for (const canvas of Object.values(this.canvases)) canvas.element.style.opacity = pale;
  }

  polar(canvas, axis) {
    const c = canvas.context, radius = Math.min(canvas.width / 2 - 40, canvas.height / 2 - 56);
    const x0 = canvas.width / 2, y0 = radius + 42, sense = this.chosen.hand === "cw" ? -1 : 1;
    const { real, imag, ages, same } = this.slow?.cloud ? this.slow : {};
    const now = this.now?.now;
    let most = now ? Math.hypot(now[0][axis], now[1][axis]) : 0;
    if (real) real[axis].forEach((re, k) => { most = Math.max(most, Math.hypot(re, imag[axis][k])); });
    const top = this.reaches.polar.of(most);
    const at = (re, im) => [x0 + (sense * im * radius) / top, y0 - (re * radius) / top];
    canvas.layer([top, sense, this.chosen.direction], () => this.dial(canvas, at, { x0, y0, radius, top }));
    if (real) {
      real[axis].forEach((re, k) => {
        const [x, y] = at(re, imag[axis][k]);
        c.globalAlpha = Math.max(1 - ages[0][k] / 6.5, 0.25);
        c.beginPath();
        c.arc(x, y, 5, 0, 2 * Math.PI);
        c.lineWidth = 1.8;
        c.strokeStyle = c.fillStyle = BLUE;
        if (same[0][k]) c.fill(); else c.stroke(); // hollow: of another speed
      });
      c.globalAlpha = 1;
    }
    if (now) {
      const [x, y] = at(now[0][axis], now[1][axis]);
      canvas.line([[x0, y0], [x, y]], ORANGE, 4);
      c.beginPath();
      c.rect(x - 9, y - 9, 18, 18);
      c.lineWidth = 3;
      c.strokeStyle = ORANGE;
      c.stroke();
    }
    if (real) this.lens(canvas, axis, top / radius, sense);
    const name = this.now?.axes?.[axis], turns = this.chosen.hand === "cw" ? "clockwise" : "counter-clockwise";
    canvas.say(now
      ? `1x on ${name}, ${this.chosen.unit}; square: now, dots: the last seconds (hollow: another speed). From the front; turns ${turns}.`
      : "1x vectors: they need marks.");
  }

  dial(canvas, at, { x0, y0, radius, top }) {
    const c = canvas.context, step = niceStep(top, 4);
    for (let r = step; r <= top * (1 + 1e-9); r += step) {
      c.beginPath();
      c.arc(x0, y0, (r / top) * radius, 0, 2 * Math.PI);
      c.strokeStyle = GREY;
      c.lineWidth = r > top * 0.999 ? 1.2 : 0.6;
      c.stroke();
    }
    for (let degrees = 0; degrees < 360; degrees += 30) {
      const a = (degrees * Math.PI) / 180, [cos, sin] = [Math.cos(a) * top, Math.sin(a) * top];
      canvas.line([[x0, y0], at(cos, sin)], GREY, 0.5);
      if (degrees) canvas.text(`${this.shownDegrees(degrees)}°`, ...at(cos * (1 + 20 / radius), sin * (1 + 20 / radius)), { size: 14 });
    }
    c.fillStyle = AMBER; // the mark
    c.beginPath();
    [[0, 4], [-9, -12], [9, -12]].forEach(([x, y], k) => (k ? c.lineTo(x0 + x, y0 - radius + y) : c.moveTo(x0 + x, y0 - radius + y)));
    c.fill();
    canvas.text("mark 0°", x0, y0 - radius - 22, { bold: true });
    for (let r = step; r <= top * (1 + 1e-9); r += step) {
      const a = (105 * Math.PI) / 180;
      canvas.text(round(r), ...at(Math.cos(a) * r, Math.sin(a) * r), { size: 14 });
    }
  }

  // The cloud once more, enlarged, where it is too small to be seen.
  lens(canvas, axis, perPixel, sense) {
    const { real: { [axis]: real }, imag: { [axis]: imag }, ages, same } = this.slow, c = canvas.context;
    const chosen = Array.from(real, (re, k) => [re, imag[k], ages[0][k]]).filter((_, k) => same[0][k]);
    if (chosen.length < 3) return;
    const middle = [0, 1].map((k) => chosen.reduce((sum, one) => sum + one[k], 0) / chosen.length);
    const reach = Math.max(...chosen.map(([re, im]) => Math.hypot(re - middle[0], im - middle[1])));
    const size = Math.min(canvas.width, canvas.height) * 0.11, factor = (0.85 * size * perPixel) / reach;
    const power = [1000, 500, 200, 100, 50, 20, 10, 5].find((one) => one <= factor);
    if (!power) return;
    const x0 = canvas.width - size - 6, y0 = canvas.height - size - 20;
    c.beginPath();
    c.arc(x0, y0, size, 0, 2 * Math.PI);
    c.fillStyle = canvas.look.ground;
    c.fill();
    c.lineWidth = 1;
    c.strokeStyle = GREY;
    c.stroke();
    for (const [re, im, age] of chosen) {
      c.globalAlpha = Math.max(1 - age / 6.5, 0.25);
      c.beginPath();
      c.arc(x0 + (sense * (im - middle[1]) * power) / perPixel, y0 - ((re - middle[0]) * power) / perPixel, 3.5, 0, 2 * Math.PI);
      c.fillStyle = BLUE;
      c.fill();
    }
    c.globalAlpha = 1;
    canvas.text(`dots × ${power}`, x0, y0 + size + 11, { size: 14 });
  }

  spectrum(canvas, axis) {
    const found = this.slow?.spectra, curve = found && this.slow[`spectrum${axis}`];
    if (!curve) { return canvas.say("Spectrum: a moment."); }
    const [along, values] = curve, end = along[along.length - 1];
    const [where, height] = found.highest[axis], top = this.reaches.spectrum.of(height), step = niceStep(end, 6);
    const ticks = [];
    for (let x = 0; x <= end * 1.0001; x += step) ticks.push(x);
    const byOrder = found.by === "order", title = byOrder ? "order (multiple of the shaft speed)" : "frequency, Hz";
    const { px, py, box, clip } = axes(canvas, { x: [0, end], y: [0, top], ticks, title, unit: `${this.chosen.unit}, peak` });
    clip(() => canvas.line(Array.from(along, (x, k) => [px(x), py(values[k])]), BLUE, 2));
    if (byOrder) {
      this.chosen.marked.forEach(([order, word], k) => {
        if (order > end) return;
        canvas.line([[px(order), box.top], [px(order), box.bottom]], AMBER, 1.6, [5, 4]);
        canvas.text(word, px(order) + 5, box.top + 8 + 17 * (k % 2), { align: "left", bold: true });
      });
    }
    const name = this.slow.axes[axis], place = byOrder ? `order ${where.toFixed(2)}` : `${where.toFixed(1)} Hz`;
    canvas.say(`Spectrum of ${name} over ${found.seconds} s: highest ${digits(height)} ${this.chosen.unit} at ${place}.` +
      (byOrder ? "" : " Without marks the shaft speed, and so the orders, are not known."));
  }

  folded(canvas, axis) {
    const now = this.now;
    if (now?.mean) return this.turn(canvas, now.mean[axis], now.scatter[axis], now.axes[axis], now.turns);
    const trace = now?.[`trace${axis}`];
    if (!trace) { return canvas.say("Signal: a moment."); }
    const [along, values] = trace;
    const top = this.reaches.folded.of(values.reduce((most, v) => Math.max(most, Math.abs(v)), 0));
    const ticks = [-0.25, -0.2, -0.15, -0.1, -0.05, 0];
    const { px, py, clip } = axes(canvas, { x: [-0.25, 0], y: [-top, top], ticks, title: "time, s", unit: this.chosen.unit });
    clip(() => canvas.line(Array.from(along, (x, k) => [px(x), py(values[k])]), BLUE, 1.5));
    canvas.say(`Signal of ${now.axes[axis]} over the last quarter second; with marks it is laid over one turn.`);
  }

  turn(canvas, mean, scatter, name, turns) {
    const c = canvas.context, count = mean.length;
    let most = 0;
    mean.forEach((v, k) => { most = Math.max(most, Math.abs(v) + scatter[k]); });
    const top = this.reaches.folded.of(most), value = (k) => mean[k % count], off = (k) => scatter[k % count];
    const backwards = this.chosen.direction === "with", names = (x) => `${backwards ? 360 - x : x}°`;
    const { px, py, box, clip } = axes(canvas, {
      x: [0, 360], y: [-top, top], ticks: [0, 90, 180, 270, 360], names,
      title: `shaft angle ${this.chosen.direction} the rotation`, unit: this.chosen.unit });
    clip(() => {
      c.beginPath();
      for (let k = 0; k <= count; k++) c.lineTo(px((360 * k) / count), py(value(k) + off(k)));
      for (let k = count; k >= 0; k--) c.lineTo(px((360 * k) / count), py(value(k) - off(k)));
      c.fillStyle = GREY;
      c.globalAlpha = 0.35;
      c.fill();
      c.globalAlpha = 1;
      canvas.line(Array.from({ length: count + 1 }, (_, k) => [px((360 * k) / count), py(value(k))]), BLUE, 2.5);
    });
    for (const x of [0, 360]) canvas.line([[px(x), box.top], [px(x), box.bottom]], AMBER, 1.6, [5, 4]);
    canvas.text("mark", px(0) + 5, box.top + 8, { align: "left", bold: true });
    canvas.say(`Signal of ${name} over one turn: mean of ${turns} turns (line) and how single turns scatter (grey, one standard deviation).`);
  }
}
