// Trends on one time axis: unpacks the columns that tools/figures/columns.py packed, draws them on canvases, and moves one
// cursor and one view through all of them.  What is drawn of a stretch of rows is its lowest and its highest value, anew for
// every view, so that no pulse is hidden.  Colours come from the page's style.
"use strict";
(function () {
  const DASHES = { solid: [], dashed: [6, 4], dotted: [2, 3], dotdash: [7, 3, 2, 3] };
  const STEPS_S = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400];
  const TOP = 6, BOTTOM = 20, RIGHT = 10, AIR = 0.05;

  async function unpack(text, spec) {
    const coded = atob(text.trim()), bytes = new Uint8Array(coded.length);
    for (let k = 0; k < coded.length; k++) bytes[k] = coded.charCodeAt(k);
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    const raw = new Uint8Array(await new Response(stream).arrayBuffer());
    let place = 0, next = 0;
    const times = () => {
      for (; next < spec.times.length && spec.times[next].before <= columns.length; next++) {
        const axis = spec.times[next];
        if (!axis.listed) continue;
        const view = new DataView(raw.buffer, place, 4 * axis.n);
        axis.at = new Float64Array(axis.n);
        for (let k = 0, t = axis.start; k < axis.n; k++) axis.at[k] = t += view.getInt32(4 * k, true);
        place += 4 * axis.n;
      }
    };
    const columns = [];
    for (const head of spec.columns) {
      times();
      const n = spec.times[head.axis].n, y = new Float32Array(n);
      for (let k = 0, q = 0; k < n; k++) {
        q = ((q + (raw[place + k] << 8) + raw[place + n + k]) << 16) >> 16;
        y[k] = q === -32768 ? NaN : head.base + head.step * q;
      }
      place += 2 * n;
      columns.push({ y, axis: spec.times[head.axis] });
    }
    times();
    return columns;
  }

  const timeOf = (axis, k) => (axis.at ? axis.at[k] : axis.start + k * (axis.step || 0));

  // The last row at or before t; −1 if there is none.
  function rowAt(axis, t) {
    if (!axis.at) return axis.step ? Math.min(axis.n - 1, Math.floor((t - axis.start) / axis.step + 1e-9)) : t >= axis.start ? 0 : -1;
    let low = -1, high = axis.n;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (axis.at[middle] <= t) low = middle; else high = middle;
    }
    return low;
  }

  function nearest(axis, t) {
    const k = Math.max(0, rowAt(axis, t));
    return k + 1 < axis.n && timeOf(axis, k + 1) - t < t - timeOf(axis, k) ? k + 1 : k;
  }

  // Points of a column in view as [x, lowest, highest] one after the other; a gap has nan.
  function points(column, view, width) {
    const { y, axis } = column, out = [], scale = width / (view.to - view.from);
    const first = Math.max(0, rowAt(axis, view.from)), last = Math.min(axis.n - 1, rowAt(axis, view.to) + 1);
    if (last - first <= 2 * width) {
      for (let k = first; k <= last; k++) out.push((timeOf(axis, k) - view.from) * scale, y[k], y[k]);
      return out;
    }
    for (let px = 0, k = first; px < width; px++) {
      const stop = px === width - 1 ? last : Math.min(last, rowAt(axis, view.from + (px + 1) / scale));
      let low = Infinity, high = -Infinity, rows = 0;
      for (; k <= stop; k++, rows++) {
        const value = y[k];
        if (value < low) low = value;
        if (value > high) high = value;
      }
      if (low <= high) out.push(px + 0.5, low, high);
      else if (rows) out.push(px + 0.5, NaN, NaN); // a dot without a row is passed over, one whose rows are nan is a gap
    }
    return out;
  }

  function niceStep(span, about) {
    const raw = span / Math.max(about, 1), size = 10 ** Math.floor(Math.log10(raw));
    return [1, 2, 5, 10].find((m) => m * size >= raw * 0.999) * size;
  }

  const two = (n) => String(n).padStart(2, "0");
  function clock(ms, digits) {
    const whole = Math.floor(ms / 1000 + 1e-9), tail = digits ? "." + Math.floor((ms - 1000 * whole) / 100 + 1e-6) : "";
    return `${two(Math.floor(whole / 3600))}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}${tail}`;
  }
  function wall(ms) { return new Date(ms).toISOString().slice(11, 21).replace(/\.0$/, ""); }

  class Sheet {
    constructor(root, spec, columns) {
      this.root = root; this.spec = spec; this.columns = columns;
      this.full = { from: spec.start, to: spec.end };
      this.view = spec.view ? { from: spec.view[0], to: spec.view[1] } : { ...this.full };
      const { from, to } = this.view, trip = spec.marks.find((mark) => mark.kind === "trip" && mark.time_ms >= from && mark.time_ms <= to);
      this.now = trip ? trip.time_ms : 0.5 * (from + to);
      this.held = false; this.run = 0;
      this.figures = spec.trends.map((trend) => {
        const figure = root.querySelector(`[data-trend="${trend.name}"]`), box = figure.querySelector(".plotbox");
        const shown = box.getBoundingClientRect();
        return { trend, box, canvas: box.querySelector("canvas"), line: box.querySelector(".cursor"), drag: box.querySelector(".drag"),
          values: [...figure.querySelectorAll(".now")], levels: trend.limits.map((_, k) => figure.querySelector(`[data-limit="${k}"]`)), seen: shown.top < innerHeight + 40 && shown.bottom > -40, stale: true };
      });
      this.bar = root.querySelector(".timebar"); this.over = root.querySelector(".overview");
      const moments = spec.trends.flatMap((trend) => trend.lanes.flatMap((lane) => lane.moments.map((m) => m[0])));
      this.stops = [...new Set([...spec.marks.map((m) => m.time_ms), ...moments])].sort((a, b) => a - b);
      this.lead = spec.marks.slice().sort((a, b) => a.time_ms - b.time_ms);
      this.colours = new Map();
      this.probe = root.appendChild(document.createElement("i")); // asks for a colour without touching what is shown
      this.probe.hidden = true;
      this.axis = spec.times[0];
      this.width = root.querySelector(".plotbox").clientWidth;
      this.helper = window.twoslideCursorFigures && spec.cursor ? window.twoslideCursorFigures(root, spec, this) : null;
      this.listen();
      this.drawSeen();
      this.moveTo(this.now);
    }

    time(ms, digits) { return this.spec.clock === "wall" ? wall(ms) : clock(ms, digits); }

    listen() {
      const watcher = new IntersectionObserver((entries) => {
        for (const entry of entries) this.figures.find((f) => f.box === entry.target).seen = entry.isIntersecting;
        this.drawSeen();
        this.moveTo(this.now);
      }, { rootMargin: "40px" });
      for (const figure of this.figures) { watcher.observe(figure.box); this.point(figure); }
      let width = this.root.clientWidth;
      new ResizeObserver(() => { if (this.root.clientWidth !== width) { width = this.root.clientWidth; this.redraw(); } }).observe(this.root);
      this.bar.addEventListener("click", (event) => {
        const what = event.target.closest("button") && event.target.closest("button").dataset.do;
        if (what) this.act(what);
      });
      this.over.addEventListener("keydown", (event) => this.key(event));
      const slide = (event) => {
        const at = this.over.getBoundingClientRect();
        this.hold(true);
        this.show(this.full.from + (this.full.to - this.full.from) * Math.min(1, Math.max(0, (event.clientX - at.left) / at.width)));
      };
      this.over.addEventListener("pointerdown", (event) => { this.over.setPointerCapture(event.pointerId); slide(event); });
      this.over.addEventListener("pointermove", (event) => { if (event.buttons) slide(event); });
      addEventListener("schemechange", () => { this.colours.clear(); this.redraw(); });
      addEventListener("beforeprint", () => { for (const f of this.figures) f.seen = true; this.redraw(); });
    }

    // The pointer over one picture: it leads the cursor; a drag looks closer; a click holds the cursor or lets it go.
    point(figure) {
      const { box, drag } = figure;
      let begun = null;
      const timeAt = (event) => {
        const at = box.getBoundingClientRect(), left = this.left();
        return this.view.from + (this.view.to - this.view.from) * Math.min(1, Math.max(0, (event.clientX - at.left - left) / (at.width - left - RIGHT)));
      };
      box.addEventListener("pointerdown", (event) => {
        if (event.button) return;
        begun = { x: event.clientX, t: timeAt(event) };
        box.setPointerCapture(event.pointerId);
        this.over.focus({ preventScroll: true });
      });
      box.addEventListener("pointermove", (event) => {
        const t = timeAt(event);
        if (begun && Math.abs(event.clientX - begun.x) > 5) {
          const [a, b] = [this.x(Math.min(t, begun.t)), this.x(Math.max(t, begun.t))];
          drag.hidden = false;
          drag.style.left = `${a}px`;
          drag.style.width = `${b - a}px`;
        }
        if (!this.held || begun) this.soon(t);
      });
      const end = (event) => {
        if (!begun) return;
        const [a, b] = [begun.t, timeAt(event)].sort((p, q) => p - q), dragged = !drag.hidden;
        drag.hidden = true;
        begun = null;
        if (event.type === "pointercancel") return;
        if (dragged) this.zoom(a, b);
        else { this.moveTo(b); this.hold(!this.held); }
      };
      box.addEventListener("pointerup", end);
      box.addEventListener("pointercancel", end);
      box.addEventListener("dblclick", () => this.act("all"));
      box.addEventListener("wheel", (event) => {
        if (!event.ctrlKey) return; // without it the wheel scrolls the page
        event.preventDefault();
        this.closer(event.deltaY < 0 ? 0.7 : 1 / 0.7, timeAt(event));
      }, { passive: false });
    }

    hold(yes) {
      this.held = yes;
      this.bar.querySelector("[data-do=hold]").setAttribute("aria-pressed", String(yes));
    }

    key(event) {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const known = { "+": "in", "=": "in", "-": "out", "0": "all", n: "next", p: "previous", h: "hold" };
      const span = this.view.to - this.view.from, row = this.axis.step || span / 1000;
      const move = event.shiftKey ? row : Math.max(row, span / 100);
      if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
        this.hold(true);
        this.show(this.now + (event.key === "ArrowLeft" ? -move : move));
      } else if (event.key === "Home" || event.key === "End") {
        this.hold(true);
        this.show(event.key === "Home" ? this.full.from : this.full.to);
      } else if (known[event.key]) this.act(known[event.key]);
      else return;
      event.preventDefault();
    }

    act(what) {
      if (what === "in") this.closer(0.5, this.now);
      else if (what === "out") this.closer(2, this.now);
      else if (what === "all") this.zoom(this.full.from, this.full.to);
      else if (what === "hold") this.hold(!this.held);
      else {
        const next = what === "next" ? this.stops.find((t) => t > this.now + 0.5) : this.stops.findLast((t) => t < this.now - 0.5);
        if (next !== undefined) { this.hold(true); this.show(next); }
      }
    }

    closer(factor, about) {
      const { from, to } = this.view;
      this.zoom(about - (about - from) * factor, about + (to - about) * factor);
    }

    zoom(from, to) {
      const least = Math.min(10 * (this.axis.step || 1000), this.full.to - this.full.from);
      if (to - from < least) { const middle = 0.5 * (from + to); from = middle - least / 2; to = middle + least / 2; }
      if (from < this.full.from) { to += this.full.from - from; from = this.full.from; }
      if (to > this.full.to) { from = Math.max(this.full.from, from - to + this.full.to); to = this.full.to; }
      this.view = { from, to };
      this.redraw();
    }

    // Move the cursor, and the view if it would leave it.
    show(t) {
      t = Math.min(this.full.to, Math.max(this.full.from, t));
      const { from, to } = this.view, span = to - from;
      if (t < from || t > to) this.zoom(t - span / 2, t + span / 2);
      this.moveTo(t);
    }

    left() { return this.root.clientWidth < 520 ? 56 : 72; }
    x(t) { return this.left() + ((t - this.view.from) / (this.view.to - this.view.from)) * (this.width - this.left() - RIGHT); }

    soon(t) {
      this.wanted = t;
      if (this.waiting) return;
      this.waiting = true;
      requestAnimationFrame(() => { this.waiting = false; this.moveTo(this.wanted); });
    }

    moveTo(t) {
      const k = nearest(this.axis, t);
      this.now = Math.min(this.full.to, Math.max(this.full.from, timeOf(this.axis, k)));
      const inside = this.now >= this.view.from && this.now <= this.view.to, place = `translateX(${this.x(this.now).toFixed(1)}px)`;
      for (const figure of this.figures) {
        if (!figure.seen) continue;
        figure.line.style.transform = place;
        figure.line.hidden = !inside;
        figure.trend.curves.forEach((curve, c) => {
          const column = this.columns[curve.column], value = column.y[nearest(column.axis, this.now)];
          const text = Number.isFinite(value) ? `${value.toFixed(curve.digits).replace(/^-(?=0\.?0*$)/, "")}${curve.unit ? " " + curve.unit : ""}` : "–";
          if (figure.values[c].textContent !== text) figure.values[c].textContent = text;
        });
      }
      this.tell();
      if (this.helper) this.helper.update(this.now);
      this.root.dataset.now = this.now;
    }

    // Time, state and last event in the bar, and where view and cursor stand in the whole.
    tell() {
      const share = (t) => 100 * (t - this.full.from) / (this.full.to - this.full.from);
      const run = this.spec.states[this.run], states = (run ? run.lanes : []).map((lane) => {
        const found = lane.runs.findLast((one) => one[0] <= this.now + 1e-6);
        return found && found[1] ? `${lane.label} ${found[1]}` : "";
      });
      const last = this.lead.findLast((mark) => mark.time_ms <= this.now + 1e-6);
      const told = [states.filter(Boolean).join(", "), last ? `Last: ${this.time(last.time_ms)} ${last.text}` : ""];
      const text = told.filter(Boolean).join(". ");
      this.bar.querySelector(".clock").textContent = this.time(this.now, true);
      this.bar.querySelector(".states").textContent = text;
      this.over.querySelector(".cursor").style.left = `${share(this.now)}%`;
      const view = this.over.querySelector(".view");
      view.style.left = `${share(this.view.from)}%`;
      view.style.width = `${share(this.view.to) - share(this.view.from)}%`;
      this.over.setAttribute("aria-valuenow", Math.round((this.now - this.full.from) / 1000));
      this.over.setAttribute("aria-valuetext", `${this.time(this.now, true)}; ${text}`);
    }

    redraw() {
      clearTimeout(this.idle);
      this.idle = 0;
      for (const figure of this.figures) figure.stale = true;
      this.drawSeen();
      this.moveTo(this.now);
    }

    drawSeen() {
      for (const figure of this.figures) {
        if (!figure.seen || !figure.stale) continue;
        this.width = figure.box.clientWidth;
        window.twoslidePlot(this, figure);
        figure.stale = false;
      }
      this.root.dataset.from = this.view.from;
      this.root.dataset.to = this.view.to;
      this.root.dataset.drawn = this.figures.filter((figure) => !figure.stale).length;
      this.later();
    }

    // What is out of sight is drawn while nothing else is to do.
    later() {
      if (this.idle || !this.figures.some((figure) => figure.stale)) return;
      this.idle = setTimeout(() => {
        this.idle = 0;
        const figure = this.figures.find((one) => one.stale);
        if (!figure) return;
        window.twoslidePlot(this, figure);
        figure.stale = false;
        figure.line.style.transform = `translateX(${this.x(this.now).toFixed(1)}px)`;
        this.root.dataset.drawn = this.figures.filter((one) => !one.stale).length;
        this.later();
      }, 150);
    }

    // The colour that a name of the style has now.
    colour(name) {
      if (!this.colours.has(name)) {
        this.probe.style.color = `var(${name})`;
        this.colours.set(name, getComputedStyle(this.probe).color);
      }
      return this.colours.get(name);
    }
  }

  window.twoslideTrends = { DASHES, STEPS_S, TOP, BOTTOM, RIGHT, AIR, points, niceStep, nearest, timeOf, sheets: [] };

  addEventListener("DOMContentLoaded", async () => {
    for (const root of document.querySelectorAll(".trendsheet")) {
      try {
        const spec = JSON.parse(root.querySelector("script[type='application/json']").textContent);
        const columns = await unpack(root.querySelector("script[type='text/plain']").textContent, spec);
        window.twoslideTrends.sheets.push(new Sheet(root, spec, columns));
      } catch (error) {
        root.querySelector(".states").textContent = `The trends cannot be drawn here: ${error.message}. A browser of 2024 or newer draws them.`;
        throw error;
      }
      performance.mark("trends-drawn");
    }
    document.addEventListener("click", (event) => { // lists of events stand outside of the sheets
      const jump = event.target.closest("[data-at]"), sheet = window.twoslideTrends.sheets[0];
      if (!jump || !sheet) return;
      sheet.hold(true);
      sheet.show(Number(jump.dataset.at));
    });
    document.documentElement.dataset.ready = "yes";
  });
})();
