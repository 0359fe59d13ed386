"use strict";
(() => {
const model = JSON.parse(document.getElementById("model").textContent);
const el = (tag, name, text) => {
  const e = document.createElement(tag);
  if (name) e.className = name;
  if (text !== undefined) e.textContent = text;
  return e;
};

// Packed numbers: see packed in pack.go.
function unpack(text, n) {
  const bytes = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  const out = new Int32Array(n);
  let at = 0, i = 0, last = 0;
  const next = () => {
    let u = 0, scale = 1, b;
    do {
      b = bytes.charCodeAt(at++);
      u += (b & 127) * scale;
      scale *= 128;
    } while (b > 127);
    return u;
  };
  while (i < n && at < bytes.length) {
    const u = next();
    if (u === 0) {
      const end = Math.min(n, i + next());
      out.fill(last, i, end);
      i = end;
    } else {
      last += u % 2 ? -(u + 1) / 2 : u / 2;
      out[i++] = last;
    }
  }
  return out;
}

// Extremes of a column: blocks of 64 samples are looked through once.
const BLOCK = 64;
function index(c) {
  const n = Math.ceil(c.n / BLOCK);
  c.low = new Int32Array(n);
  c.high = new Int32Array(n);
  for (let b = 0; b < n; b++) {
    let lo = c.data[b * BLOCK], hi = lo;
    for (let i = b * BLOCK + 1; i < Math.min(c.n, (b + 1) * BLOCK); i++) {
      const v = c.data[i];
      if (v < lo) lo = v; else if (v > hi) hi = v;
    }
    c.low[b] = lo;
    c.high[b] = hi;
  }
}
let lo = 0, hi = 0; // what extremes found
function extremes(c, from, to) {
  const d = c.data;
  lo = hi = d[from];
  for (let i = from; i < to;) {
    if (i % BLOCK === 0 && i + BLOCK <= to) {
      const b = i / BLOCK;
      if (c.low[b] < lo) lo = c.low[b];
      if (c.high[b] > hi) hi = c.high[b];
      i += BLOCK;
      continue;
    }
    const v = d[i++];
    if (v < lo) lo = v; else if (v > hi) hi = v;
  }
}

for (const c of model.columns) {
  c.data = unpack(c.data, c.n);
  index(c);
}
for (const p of model.panels) for (const m of p.limit || []) m.data = unpack(m.data, m.n);
for (const t of model.cycles) {
  for (const k of ["tick", "cylinder", "bits", "fuel", "spark", "timing", "mixture"]) t[k] = unpack(t[k], t.n);
}

// A number as the trace has it, to its last digit.
function digits(raw, per, decimals) {
  let x = per === 10 ** decimals ? raw : Math.round(raw / per * 10 ** decimals);
  const sign = x < 0 ? "\u2212" : "";
  let s = String(Math.abs(x)).padStart(decimals + 1, "0");
  if (decimals) s = s.slice(0, -decimals) + "." + s.slice(-decimals);
  return sign + s;
}
const sampleAt = (c, t) => {
  const i = Math.floor((t - c.start) / c.tick);
  return i < 0 || i >= c.n ? -1 : i;
};
function reading(c, t) {
  const i = sampleAt(c, t);
  if (i < 0) return "\u2013";
  if (c.words) return c.words[c.data[i]].replaceAll("+", ", ") || "none";
  return digits(c.data[i], c.per, c.decimals) + (c.unit ? " " + c.unit : "");
}
const seconds = (us) => {
  const step = 10 ** (6 - model.decimals);
  return digits(Math.round(us / step), 10 ** model.decimals, model.decimals) + " s";
};

// View and reading.
const span = model.to - model.from;
const least = Math.min(span, 16 * model.tick);
const view = { from: model.from, to: model.to };
let now = model.from;
let selected = model.selected;
const clamp = (x, a, b) => Math.max(a, Math.min(b, x));
const snap = (t) => model.from + clamp(Math.floor((t - model.from) / model.tick), 0, Math.max(0, Math.floor(span / model.tick) - 1)) * model.tick;

function look(from, width) {
  width = clamp(width, least, span);
  view.from = clamp(from, model.from, model.to - width);
  view.to = view.from + width;
  redraw();
}
const zoom = (factor, about) => {
  const width = clamp((view.to - view.from) * factor, least, span);
  look(about - (about - view.from) * width / (view.to - view.from), width);
};
const pan = (share) => look(view.from + share * (view.to - view.from), view.to - view.from);
const home = () => look(model.from, span);
function read(t) {
  now = snap(t);
  if (now < view.from || now > view.to) look(now - (view.to - view.from) / 2, view.to - view.from);
  redraw();
}
function go(mark) {
  const m = model.marks[mark];
  if (!m) return;
  selected = mark;
  now = snap(m.at);
  const width = Math.min(span, 400000);
  look(m.at - width / 2, width);
  choose();
}

// The page around the charts.
document.documentElement.classList.replace("still", "running");
const panels = document.getElementById("panels");
const nowLine = document.getElementById("now");
const values = document.getElementById("values");
const allChannels = document.getElementById("all");

const TONES = ["#003f75", "#b04a00", "#000000", "#5c5c5c"];
const DASHES = [[], [7, 4], [2, 3], [9, 3, 2, 3]];
const SVG = "http://www.w3.org/2000/svg";
function sampleLine(style) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 34 10");
  svg.setAttribute("aria-hidden", "true");
  const p = document.createElementNS(SVG, "path");
  p.setAttribute("d", "M0 5H34");
  p.setAttribute("stroke", TONES[style % 4]);
  p.setAttribute("stroke-width", "2");
  p.setAttribute("stroke-dasharray", DASHES[style % 4].join(" "));
  svg.append(p);
  return svg;
}
function sampleEvent(bits) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 12 14");
  svg.setAttribute("aria-hidden", "true");
  svg.classList.add("event");
  const shapes = {
    0: ["M6 5V9", "none", "#5c5c5c"], 1: ["M2.5 7.5H9.5V13H2.5Z", "#fff", TONES[0]],
    2: ["M6 1L10.5 6.5H1.5Z", TONES[1], TONES[1]], 3: ["M2.5 1H9.5V13H2.5Z", "#000", "#000"],
  };
  const p = document.createElementNS(SVG, "path");
  p.setAttribute("d", shapes[bits][0]);
  p.setAttribute("fill", shapes[bits][1]);
  p.setAttribute("stroke", shapes[bits][2]);
  p.setAttribute("stroke-width", "1.4");
  svg.append(p);
  return svg;
}

const ROW = { cycles: 20, bars: 24, margins: 54 };
const PLAIN = { tall: 190, low: 92 };
const LEFT = 46, RIGHT = 10, FOOT = 17, TOP = 5;
const MOST_MARGINS = 6;

class Picture {
  constructor(p) {
    this.p = p;
    this.box = el("div", "panel");
    this.labels = el("div", "labels");
    this.labels.append(el("h3", "", p.title + (p.unit ? ", " + p.unit : "")));
    this.canvas = el("canvas");
    this.canvas.setAttribute("role", "img");
    this.canvas.setAttribute("aria-label", p.title + " over time; values are read out above");
    this.g = this.canvas.getContext("2d");
    this.values = [];
    this.head();
    this.box.append(this.labels, this.canvas);
    panels.append(this.box);
    this.shown = true;
  }
  // head names every curve beside a sample of its line.
  head() {
    const p = this.p;
    const add = (sample, name, read) => {
      const label = el("span", "label");
      if (sample) label.append(sample, " ");
      label.append(name);
      if (read) {
        const value = el("span", "value");
        label.append(" ", value);
        this.values.push([value, read]);
      }
      this.labels.append(label, " ");
    };
    for (const l of p.lines || []) add(sampleLine(l.style), l.label, (t) => reading(model.columns[l.column], t));
    if (p.kind === "cycles") {
      for (const [bits, name] of [[0, "fired"], [1, "fuel withheld"], [2, "spark withheld"], [3, "both withheld"]]) add(sampleEvent(bits), name);
      this.values.push([this.labels.appendChild(el("span", "firing")), (t) => firing(model.cycles[p.table], t)]);
    }
    if (p.kind === "margins") {
      this.labels.append(el("span", "", "0 is the limit, below it is broken; \u25c6 closest moment"));
    }
  }
  rows() {
    const p = this.p;
    if (p.kind === "cycles") return model.cycles[p.table].cylinders.length;
    if (p.kind === "bars") return p.rows.length;
    return this.chosen().length;
  }
  // chosen are the margins shown: the selected one first, then the worst.
  chosen() {
    const list = this.p.limit.slice(0, MOST_MARGINS);
    const own = this.p.limit.find((m) => m.mark === selected);
    if (own && !list.includes(own)) list.unshift(own);
    return list;
  }
  height() {
    if (this.p.kind === "lines") return this.p.tall ? PLAIN.tall : PLAIN.low;
    return this.rows() * ROW[this.p.kind];
  }
  fit(width) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const h = this.height() + FOOT + TOP;
    if (this.w === width && this.h === h && this.ratio === ratio) return;
    Object.assign(this, { w: width, h, ratio });
    this.canvas.style.height = h + "px";
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(h * ratio);
  }
  x(t) { return LEFT + (t - view.from) / (view.to - view.from) * (this.w - LEFT - RIGHT); }
  draw() {
    const g = this.g;
    g.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    g.fillStyle = "#fff";
    g.fillRect(0, 0, this.w, this.h);
    g.font = "12px Georgia, 'Times New Roman', 'DejaVu Serif', serif";
    g.lineJoin = "bevel";
    this.bottom = this.h - FOOT;
    this.axis();
    if (this.p.kind === "lines") this.lines();
    if (this.p.kind === "cycles") this.cycles();
    if (this.p.kind === "bars") this.bars();
    if (this.p.kind === "margins") this.margins();
    this.moments();
  }
  axis() {
    const g = this.g;
    const step = nice((view.to - view.from) / 1e6, Math.max(2, this.w / 90));
    const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    g.fillStyle = "#111";
    g.textAlign = "center";
    g.textBaseline = "top";
    g.strokeStyle = "#111";
    g.lineWidth = 1;
    g.beginPath();
    g.moveTo(LEFT, this.bottom + 0.5);
    g.lineTo(this.w - RIGHT, this.bottom + 0.5);
    for (let k = Math.ceil(view.from / 1e6 / step - 1e-9); k * step * 1e6 <= view.to + 1; k++) {
      const x = this.x(k * step * 1e6);
      g.moveTo(x, this.bottom);
      g.lineTo(x, this.bottom + 4);
      const text = (k * step).toFixed(decimals).replace("-", "\u2212");
      if (x < this.w - RIGHT - 4) g.fillText(text, x, this.bottom + 5);
    }
    g.stroke();
    g.textAlign = "right";
    g.textBaseline = "middle";
  }
  // range is what the curves reach within the view, to whole steps, so that it
  // rests while one pans.
  range() {
    let a = Infinity, b = -Infinity;
    for (const l of this.p.lines) {
      const c = model.columns[l.column];
      const i0 = clamp(Math.floor((view.from - c.start) / c.tick), 0, c.n);
      const i1 = clamp(Math.ceil((view.to - c.start) / c.tick), 0, c.n);
      if (i1 <= i0) continue;
      extremes(c, i0, i1);
      a = Math.min(a, lo / c.per);
      b = Math.max(b, hi / c.per);
    }
    if (a > b) { a = 0; b = 1; }
    if (this.p.low !== undefined) { a = Math.min(a, this.p.low); b = Math.max(b, this.p.high); }
    if (b - a < 1e-9) { a -= 1; b += 1; }
    const step = nice(b - a, this.p.tall ? 5 : 3);
    return [Math.floor(a / step + 1e-9) * step, Math.ceil(b / step - 1e-9) * step, step];
  }
  lines() {
    const g = this.g;
    const [a, b, step] = this.range();
    const y = (v) => this.bottom - 1 - (v - a) / (b - a) * (this.bottom - TOP - 1);
    g.strokeStyle = "#ccc";
    g.fillStyle = "#111";
    g.lineWidth = 1;
    g.beginPath();
    for (let k = 0; a + k * step <= b + step / 2; k++) {
      const v = a + k * step, py = Math.round(y(v)) + 0.5;
      g.moveTo(LEFT, py);
      g.lineTo(this.w - RIGHT, py);
      g.fillText(axisNumber(v), LEFT - 5, clamp(py, 7, this.bottom - 3));
    }
    g.stroke();
    this.clip();
    for (const l of this.p.lines) this.curve(model.columns[l.column], l.style, y);
    g.restore();
  }
  clip() {
    this.g.save();
    this.g.beginPath();
    this.g.rect(LEFT, 0, this.w - LEFT - RIGHT, this.bottom + 1);
    this.g.clip();
  }
  // curve draws a column: sample by sample where there is room, else what each
  // pixel holds.
  curve(c, style, y) {
    const g = this.g, width = this.w - LEFT - RIGHT;
    const per = (view.to - view.from) / width; // us a pixel
    if (per > c.tick) { this.dense(c, style, y, per, width); return; }
    g.strokeStyle = TONES[style % 4];
    g.lineWidth = style ? 1.6 : 1.4;
    g.setLineDash(DASHES[style % 4]);
    g.lineDashOffset = view.from / per % 1000;
    g.beginPath();
    this.sparse(c, y);
    g.stroke();
    g.setLineDash([]);
  }
  // dense draws a rectangle a pixel, from the lowest to the highest value in it and
  // on to its neighbour, and one for a level stretch. A path of so many corners
  // would cost ten times as much.
  dense(c, style, y, per, width) {
    const g = this.g, gap = gaps(style), thick = style ? 1.6 : 1.4;
    g.fillStyle = TONES[style % 4];
    const shift = Math.floor(view.from / per);
    let from = -1, top = 0, bottom = 0, a = NaN, b = NaN;
    const flush = (to) => {
      if (from >= 0) g.fillRect(LEFT + from, top - thick / 2, to - from, bottom - top + thick);
      from = -1;
    };
    for (let px = 0; px < width; px++) {
      const i0 = Math.max(0, Math.ceil((view.from + px * per - c.start) / c.tick));
      const i1 = Math.min(c.n, Math.ceil((view.from + (px + 1) * per - c.start) / c.tick));
      if (i1 <= i0) { flush(px); a = NaN; continue; }
      extremes(c, i0, i1);
      let up = y(hi / c.per), down = y(lo / c.per);
      const u = up, d = down;
      if (b < up) up = b; // the neighbour lies above
      if (a > down) down = a; // or below
      a = u;
      b = d;
      if (gap && gap[(((px + shift) % gap.length) + gap.length) % gap.length] && down - up < 3) { flush(px); continue; }
      if (from >= 0 && up === top && down === bottom) continue;
      flush(px);
      from = px; top = up; bottom = down;
    }
    flush(width);
  }
  sparse(c, y) {
    const g = this.g;
    const i0 = clamp(Math.floor((view.from - c.start) / c.tick) - 1, 0, c.n);
    const i1 = clamp(Math.ceil((view.to - c.start) / c.tick) + 1, 0, c.n);
    for (let i = i0; i < i1; i++) {
      const x = this.x(c.start + i * c.tick), v = y(c.data[i] / c.per);
      if (i === i0) g.moveTo(x, v);
      else {
        if (c.held) g.lineTo(x, y(c.data[i - 1] / c.per));
        g.lineTo(x, v);
      }
      if (c.held && i === c.n - 1) g.lineTo(this.x(c.start + c.n * c.tick), v);
    }
  }
  cycles() {
    const g = this.g, t = model.cycles[this.p.table], h = ROW.cycles;
    const row = new Map(t.cylinders.map((n, i) => [n, i]));
    const i0 = lower(t.tick, (view.from - t.start) / t.every - 1);
    const i1 = lower(t.tick, (view.to - t.start) / t.every + 1);
    g.fillStyle = "#111";
    t.cylinders.forEach((n, i) => g.fillText(n, LEFT - 8, TOP + i * h + h / 2));
    g.fillStyle = "#ddd";
    t.cylinders.forEach((n, i) => g.fillRect(LEFT, TOP + (i + 1) * h - 1, this.w - LEFT - RIGHT, 1));
    this.clip();
    const room = (this.w - LEFT - RIGHT) / Math.max(1, (i1 - i0) / t.cylinders.length);
    if (room >= 7) this.shapes(t, row, i0, i1, Math.min(9, room - 2));
    else this.crowd(t, row, i0, i1);
    g.restore();
  }
  // shapes draws single cycles: each outcome has a shape and a place of its own.
  shapes(t, row, i0, i1, w) {
    const g = this.g, h = ROW.cycles;
    g.lineWidth = 1.4;
    for (let i = i0; i < i1; i++) {
      const x = this.x(t.start + t.tick[i] * t.every), y = TOP + row.get(t.cylinder[i]) * h;
      switch (t.bits[i] & 3) {
      case 0:
        g.fillStyle = "#5c5c5c";
        g.fillRect(x - 0.5, y + h / 2 - 3, 1, 6);
        break;
      case 1:
        g.strokeStyle = TONES[0];
        g.strokeRect(x - w / 2, y + h / 2 + 0.5, w, h / 2 - 4);
        break;
      case 2:
        g.fillStyle = TONES[1];
        g.beginPath();
        g.moveTo(x, y + 2);
        g.lineTo(x + w / 2, y + h / 2);
        g.lineTo(x - w / 2, y + h / 2);
        g.fill();
        break;
      default:
        g.fillStyle = "#000";
        g.fillRect(x - w / 2, y + 2, w, h - 5);
      }
    }
  }
  // crowd draws many cycles: for each pixel and cylinder what was withheld in it,
  // spark in the upper half, fuel in the lower, both in full height.
  crowd(t, row, i0, i1) {
    const g = this.g, h = ROW.cycles, width = Math.ceil(this.w - LEFT - RIGHT);
    const seen = new Uint8Array(width * row.size);
    const per = (view.to - view.from) / width;
    for (let i = i0; i < i1; i++) {
      const px = Math.floor((t.start + t.tick[i] * t.every - view.from) / per);
      if (px >= 0 && px < width) seen[row.get(t.cylinder[i]) * width + px] |= 1 << (t.bits[i] & 3);
    }
    const layer = (tone, bit, top, height) => {
      g.fillStyle = tone;
      g.beginPath();
      for (let r = 0; r < row.size; r++) {
        for (let px = 0; px < width; px++) {
          if (!(seen[r * width + px] & bit)) continue;
          const first = px;
          while (px < width && seen[r * width + px] & bit) px++;
          g.rect(LEFT + first, TOP + r * h + top, px - first, height);
        }
      }
      g.fill();
    };
    layer("#8a8a8a", 1, h / 2 - 1, 1);
    layer(TONES[0], 2, h / 2 + 1, h / 2 - 4);
    layer(TONES[1], 4, 2, h / 2 - 2);
    layer("#000", 8, 2, h - 5);
  }
  bars() {
    const g = this.g, h = ROW.bars;
    this.p.rows.forEach((r, i) => {
      const y = TOP + i * h, runs = runsOf(r);
      this.clip();
      g.fillStyle = "#ddd";
      g.fillRect(LEFT, y + h - 4, this.w, 1);
      if (r.style === "words") this.words(r, runs, y, h);
      else this.stretches(r, runs, y, h);
      this.halo(r.label, LEFT + 3, y + 7);
      g.restore();
    });
  }
  halo(text, x, y) {
    const g = this.g;
    g.textAlign = "left";
    g.lineWidth = 3;
    g.strokeStyle = "#fff";
    g.strokeText(text, x, y);
    g.fillStyle = "#111";
    g.fillText(text, x, y);
    g.textAlign = "right";
  }
  // visible calls f with the pixels of each stretch in sight; those that fall
  // into one pixel are drawn once.
  visible(runs, f) {
    let done = -1;
    for (let i = lowerRun(runs, view.from); i < runs.length && runs[i].from < view.to; i++) {
      const a = Math.max(this.x(runs[i].from), LEFT), b = Math.min(this.x(runs[i].to), this.w - RIGHT);
      if (b - a < 1 && Math.floor(a) === done) continue;
      done = Math.floor(a);
      f(a, Math.max(b - a, 1.5), runs[i]);
    }
  }
  stretches(r, runs, y, h) {
    const g = this.g;
    g.fillStyle = r.style === "hatched" ? hatch(g) : "#333";
    this.visible(runs, (x, w) => g.fillRect(x, y + h - 11, w, 8));
    if (r.style !== "hatched") return;
    g.strokeStyle = "#333";
    g.lineWidth = 1;
    this.visible(runs, (x, w) => { if (w > 3) g.strokeRect(x + 0.5, y + h - 10.5, w - 1, 7); });
  }
  words(r, runs, y, h) {
    const g = this.g, c = model.columns[r.column];
    const name = g.measureText(r.label).width + 16;
    this.visible(runs, (x, w, run) => {
      const word = c.words[run.code], rest = REST.has(word);
      g.strokeStyle = "#111";
      g.lineWidth = 1;
      g.fillStyle = rest ? "#fff" : "#333";
      g.fillRect(x, y + h - 11, w, 8);
      if (w > 3) g.strokeRect(x + 0.5, y + h - 10.5, w - 1, 7);
      const tx = Math.max(x + 3, LEFT + name);
      if (!rest && x + w - tx > word.length * 6) this.halo(word, tx, y + 7);
    });
  }
  margins() {
    const g = this.g, h = ROW.margins;
    this.chosen().forEach((m, i) => {
      const y = TOP + i * h, zero = y + h - 20, reach = 14;
      this.clip();
      g.fillStyle = "#777";
      g.fillRect(LEFT, zero, this.w, 1);
      this.limit(m, zero, reach);
      const mark = model.marks[m.mark];
      if (mark) this.diamond(this.x(mark.at), zero);
      this.halo((m.mark === selected ? "\u25b8 " : "") + m.label + "  " + m.words + (m.verdict === "fails" ? "  fails" : ""), LEFT + 3, y + 7);
      g.restore();
      g.fillText("0", LEFT - 5, zero);
    });
  }
  // limit draws a margin over time, a point a pixel: the smallest in it. Beyond one
  // step of its scale either way it is cut off; what has a side but no size runs
  // along the edge. Broken stretches are filled.
  limit(m, zero, reach) {
    const g = this.g, width = this.w - LEFT - RIGHT, per = (view.to - view.from) / width;
    const at = (v) => v === 2147483647 ? zero - reach : v === -2147483647 ? zero + reach : zero - clamp(v / m.scale, -1, 1) * reach;
    const line = [], broken = [];
    for (let px = 0; px < width; px++) {
      const t0 = view.from + px * per;
      const i0 = clamp(Math.floor(t0 / m.tick), 0, m.n), i1 = clamp(Math.max(i0 + 1, Math.ceil((t0 + per) / m.tick)), 0, m.n);
      let least = Infinity;
      for (let i = i0; i < i1; i++) if (m.data[i] !== -2147483648 && m.data[i] < least) least = m.data[i];
      if (least === Infinity) { line.push(NaN); continue; }
      line.push(at(least));
      if (least < 0) broken.push(px);
    }
    g.fillStyle = TONES[1];
    for (const px of broken) g.fillRect(LEFT + px, zero, 1, Math.max(line[px] - zero, 2));
    g.strokeStyle = "#111";
    g.lineWidth = 1.3;
    g.beginPath();
    let open = false;
    line.forEach((v, px) => {
      if (v !== v) { open = false; return; }
      if (px > 1 && px < line.length - 1 && open && v === line[px - 1] && v === line[px + 1]) return;
      if (open) g.lineTo(LEFT + px + 0.5, v); else g.moveTo(LEFT + px + 0.5, v);
      open = true;
    });
    g.stroke();
  }
  diamond(x, y) {
    const g = this.g;
    g.fillStyle = "#000";
    g.strokeStyle = "#fff";
    g.lineWidth = 1.5;
    g.beginPath();
    g.moveTo(x, y - 7);
    g.lineTo(x + 5.5, y);
    g.lineTo(x, y + 7);
    g.lineTo(x - 5.5, y);
    g.closePath();
    g.stroke();
    g.fill();
  }
  // moments draws release, the selected closest moment and the reading.
  moments() {
    const g = this.g, first = this === pictures[0];
    const line = (t, dash, width, text, y) => {
      if (t < view.from || t > view.to) return;
      const x = this.x(t);
      g.strokeStyle = "#000";
      g.lineWidth = width;
      g.setLineDash(dash);
      g.beginPath();
      g.moveTo(x, 0);
      g.lineTo(x, this.bottom);
      g.stroke();
      g.setLineDash([]);
      if (!first || !text) return;
      g.textAlign = "left";
      const w = g.measureText(text).width;
      this.halo(text, x + 5 + w > this.w - RIGHT ? x - 5 - w : x + 5, y);
    };
    model.marks.forEach((m, i) => {
      if (m.kind === "release") line(m.at, [1, 3], 1.4, m.label, 24);
      else if (i === selected) {
        line(m.at, [], 1.4, (m.kind === "first" ? "" : "\u25c6 ") + m.label, 10);
        if (first && m.at >= view.from && m.at <= view.to) this.diamond(this.x(m.at), 8);
      }
    });
    line(now, [5, 4], 1, "", 0);
  }
}

const REST = new Set(["idle", "closed", "none", "off", "shut"]);
function nice(width, most) {
  const unit = 10 ** Math.floor(Math.log10(width / most));
  for (const m of [1, 2, 5, 10]) if (width <= m * unit * most * (1 + 1e-9)) return m * unit;
  return 10 * unit;
}
const axisNumber = (v) => String(Math.round(v * 1e4) / 1e4).replace("-", "\u2212");
// lower finds the first place at or above a value.
function lower(list, v) {
  let a = 0, b = list.length;
  while (a < b) {
    const m = (a + b) >> 1;
    if (list[m] < v) a = m + 1; else b = m;
  }
  return a;
}
function lowerRun(runs, t) {
  let a = 0, b = runs.length;
  while (a < b) {
    const m = (a + b) >> 1;
    if (runs[m].to <= t) a = m + 1; else b = m;
  }
  return a;
}
// runsOf finds, once, the stretches in which a row shows something.
function runsOf(r) {
  if (r.runs) return r.runs;
  const c = model.columns[r.column], want = r.codes && new Set(r.codes);
  r.runs = [];
  for (let i = 0; i < c.n;) {
    const code = c.data[i], on = want ? want.has(code) : true;
    let k = i + 1;
    while (k < c.n && (want ? want.has(c.data[k]) === on : c.data[k] === code)) k++;
    if (on) r.runs.push({ from: c.start + i * c.tick, to: c.start + k * c.tick, code });
    i = k;
  }
  return r.runs;
}
let hatching = null;
function hatch(g) {
  if (hatching) return hatching;
  const c = document.createElement("canvas");
  c.width = c.height = 6;
  const h = c.getContext("2d");
  h.strokeStyle = "#333";
  h.lineWidth = 1.2;
  h.beginPath();
  for (const d of [-6, 0, 6]) { h.moveTo(d, 6); h.lineTo(d + 6, 0); }
  h.stroke();
  return hatching = g.createPattern(c, "repeat");
}
// firing says what each cylinder's latest cycle up to the reading was.
function firing(t, us) {
  const last = new Map();
  const end = lower(t.tick, (us - t.start) / t.every + 1);
  for (let i = end - 1; i >= 0 && last.size < t.cylinders.length && i > end - 400; i--) {
    if (!last.has(t.cylinder[i])) last.set(t.cylinder[i], i);
  }
  const say = (i) => {
    const b = t.bits[i];
    const what = ["fired", "fuel withheld", "spark withheld", "both withheld"][b & 3];
    const why = b & 1 ? t.reasons[t.fuel[i]] : b & 2 ? t.reasons[t.spark[i]] : "";
    return what + (why ? " (" + why + ")" : "") + (b & 4 ? ", unburnt" : "");
  };
  return t.cylinders.map((n) => n + ": " + (last.has(n) ? say(last.get(n)) : "\u2013")).join("; ");
}

// gaps are the pixels that a dashed line leaves out; null: none.
const gapMemo = new Map();
function gaps(style) {
  const dash = DASHES[style % 4];
  if (!dash.length) return null;
  if (!gapMemo.has(style)) gapMemo.set(style, dash.flatMap((n, i) => new Array(n).fill(i % 2 === 1)));
  return gapMemo.get(style);
}

const pictures = [];
for (const p of model.panels) pictures.push(new Picture(p));
if (window.IntersectionObserver) {
  const seen = new IntersectionObserver((list) => {
    for (const e of list) {
      const pic = pictures.find((x) => x.canvas === e.target);
      pic.shown = e.isIntersecting;
    }
    redraw();
  }, { rootMargin: "200px" });
  for (const pic of pictures) seen.observe(pic.canvas);
}

let asked = false;
function redraw() {
  if (asked) return;
  asked = true;
  requestAnimationFrame(() => {
    asked = false;
    frame();
  });
}
function frame() {
  const width = panels.clientWidth - 8;
  for (const pic of pictures) {
    pic.fit(width);
    if (pic.shown) pic.draw();
  }
  tell();
}
const pull = [];
function tell() {
  const d = panels.dataset;
  d.from = view.from; d.to = view.to; d.now = now; d.selected = selected;
  for (const pic of pictures) {
    for (const [value, get] of pic.values) {
      const text = get(now);
      if (value.textContent !== text) value.textContent = text;
    }
  }
  let text = seconds(now);
  const release = model.marks.find((m) => m.kind === "release");
  if (release && release.at === 0 && model.from < 0) text += now < 0 ? " (before release)" : " after release";
  else if (release) text += ", " + seconds(Math.abs(now - release.at)) + (now < release.at ? " before release" : " after release");
  if (nowLine.textContent !== text) nowLine.textContent = text;
  if (allChannels.open) for (const [cell, c] of pull) cell.textContent = reading(c, now);
}
for (const c of model.columns) {
  const tr = el("tr"), cell = el("td", "n");
  const th = el("th", "", c.name);
  th.scope = "row";
  tr.append(th, cell);
  values.append(tr);
  pull.push([cell, c]);
}
allChannels.addEventListener("toggle", redraw);

// Requirements and buttons.
const buttons = [...document.querySelectorAll("button[data-mark]")];
function choose() {
  for (const b of buttons) {
    const row = b.closest("tr"), own = Number(b.dataset.mark) === selected;
    if (row) row.classList.toggle("chosen", own);
  }
}
for (const b of buttons) {
  b.addEventListener("click", () => {
    go(Number(b.dataset.mark));
    document.getElementById("charts").scrollIntoView();
    panels.focus({ preventScroll: true });
  });
}
const toMark = document.getElementById("tomark");
toMark.hidden = !model.marks.some((m) => m.kind === "closest");
const middle = () => now >= view.from && now <= view.to ? now : (view.from + view.to) / 2;
const deeds = {
  left: () => pan(-0.25), right: () => pan(0.25), in: () => zoom(0.5, middle()), out: () => zoom(2, middle()),
  home, mark: () => go(selected >= 0 ? selected : model.marks.findIndex((m) => m.kind === "closest")),
};
for (const b of document.querySelectorAll("button[data-do]")) b.addEventListener("click", () => deeds[b.dataset.do]());

// Keys.
panels.addEventListener("keydown", (e) => {
  if (e.altKey || e.metaKey || e.ctrlKey) return;
  const width = view.to - view.from;
  const step = e.shiftKey ? model.tick : Math.max(model.tick, Math.round(width / 100 / model.tick) * model.tick);
  const act = {
    ArrowLeft: () => read(now - step), ArrowRight: () => read(now + step),
    PageUp: () => pan(-0.5), PageDown: () => pan(0.5),
    "+": deeds.in, "=": deeds.in, "-": deeds.out, "\u2212": deeds.out,
    0: home, Home: home, Enter: deeds.mark,
  }[e.key];
  if (!act) return;
  e.preventDefault();
  act();
});

// Mouse and touch.
const fingers = new Map();
let start = null;
const inner = () => panels.clientWidth - 8 - LEFT - RIGHT;
const timeAt = (x) => view.from + (x - panels.getBoundingClientRect().left - 4 - LEFT) / inner() * (view.to - view.from);
function grip() {
  const xs = [...fingers.values()].map((p) => p.x);
  start = { view: { ...view }, x: xs.reduce((a, b) => a + b, 0) / xs.length, wide: Math.max(...xs) - Math.min(...xs), moved: start ? start.moved : false };
}
panels.addEventListener("pointerdown", (e) => {
  if (e.target.tagName !== "CANVAS" || e.pointerType === "mouse" && e.button !== 0) return;
  e.target.setPointerCapture(e.pointerId);
  if (!fingers.size) start = null;
  fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
  grip();
});
panels.addEventListener("pointermove", (e) => {
  const f = fingers.get(e.pointerId);
  if (!f) {
    if (e.pointerType === "mouse" && e.target.tagName === "CANVAS") read(clamp(timeAt(e.clientX), view.from, view.to - 1));
    return;
  }
  f.x = e.clientX;
  const xs = [...fingers.values()].map((p) => p.x);
  const x = xs.reduce((a, b) => a + b, 0) / xs.length, wide = Math.max(...xs) - Math.min(...xs);
  if (Math.abs(x - start.x) > 4 || Math.abs(wide - start.wide) > 4) start.moved = true;
  if (!start.moved) return;
  const before = start.view.to - start.view.from;
  const width = clamp(fingers.size > 1 && start.wide > 10 ? before * start.wide / Math.max(wide, 10) : before, least, span);
  const left = panels.getBoundingClientRect().left + 4 + LEFT;
  const held = start.view.from + (start.x - left) / inner() * before;
  look(held - (x - left) / inner() * width, width);
});
const lift = (e) => {
  if (!fingers.delete(e.pointerId)) return;
  if (fingers.size) { grip(); return; }
  if (e.type === "pointerup" && !start.moved) read(timeAt(e.clientX));
};
panels.addEventListener("pointerup", lift);
panels.addEventListener("pointercancel", lift);
panels.addEventListener("dblclick", (e) => { if (e.target.tagName === "CANVAS") zoom(0.4, timeAt(e.clientX)); });
panels.addEventListener("wheel", (e) => {
  if (!e.ctrlKey) return;
  e.preventDefault();
  zoom(Math.exp(clamp(e.deltaY, -100, 100) / 200), timeAt(e.clientX));
}, { passive: false });
window.addEventListener("resize", redraw);

const begin = model.marks[selected] || model.marks.find((m) => m.kind === "release");
if (begin) now = snap(begin.at);
choose();
redraw();
})();
