// Draws one trend on its canvas: grid, bands, shaded stretches, curves, limits, lanes and marks.  See trends.js.
"use strict";
window.twoslidePlot = function (sheet, figure) {
  const { DASHES, STEPS_S, TOP, BOTTOM, RIGHT, AIR, points, niceStep } = window.twoslideTrends;
  const FLICKER_PX = 2; // tall in the middle; below it a stroke looks better
  const { trend, canvas, box } = figure, { view } = sheet, width = box.clientWidth, height = box.clientHeight;
  const ratio = Math.max(devicePixelRatio || 1, matchMedia("print").matches ? 2 : 1);
  const ctx = canvas.getContext("2d"), [across, down] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (canvas.width !== across || canvas.height !== down) [canvas.width, canvas.height] = [across, down];
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.clearRect(0, 0, width, height);
  const left = sheet.left(), right = width - RIGHT, bottom = height - BOTTOM, colour = (name) => sheet.colour(name);
  const wide = Math.max(10, Math.round(right - left)), x = (t) => left + ((t - view.from) / (view.to - view.from)) * wide;
  ctx.font = `${width < 520 ? 10 : 11}px system-ui, sans-serif`;
  ctx.textBaseline = "middle";

  const drawn = trend.curves.map((curve) => points(sheet.columns[curve.column], view, wide));
  const bands = trend.bands.map((band) => [band.low, band.high].map((k) => points(sheet.columns[k], view, wide)));
  let [low, high] = trend.span || [Infinity, -Infinity];
  if (trend.lanes.length) [low, high] = [trend.lanes.length - 0.5, -0.5];
  else if (!trend.span) {
    for (const part of [...drawn, ...bands.flat()]) {
      for (let k = 0; k < part.length; k += 3) {
        if (part[k + 1] < low) low = part[k + 1];
        if (part[k + 2] > high) high = part[k + 2];
      }
    }
    if (!(low <= high)) [low, high] = [0, 1];
    const air = AIR * (high - low) || Math.max(0.5, 0.01 * Math.abs(high));
    low -= air;
    high += air;
  }
  const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - TOP);
  figure.span = [low, high];

  const line = (x1, y1, x2, y2, name, dash, thick) => {
    ctx.strokeStyle = colour(name);
    ctx.lineWidth = thick || 1;
    ctx.setLineDash(DASHES[dash || "solid"]);
    ctx.beginPath();
    ctx.moveTo(x1, y1);
    ctx.lineTo(x2, y2);
    ctx.stroke();
  };
  const write = (text, at, height, name, align) => {
    ctx.fillStyle = colour(name);
    ctx.textAlign = align;
    ctx.fillText(text, at, height);
  };

  function timeGrid() {
    const span = (view.to - view.from) / 1000, step = STEPS_S.find((s) => (s / span) * wide >= 74) || 86400 * Math.ceil((74 * span) / wide / 86400);
    for (let k = Math.ceil(view.from / 1000 / step - 1e-9); k * step * 1000 <= view.to + 1e-6; k++) {
      const t = k * step * 1000, text = sheet.time(t, step < 1);
      line(x(t), TOP, x(t), bottom, "--rule");
      write(step >= 60 ? text.slice(0, 5) : text, Math.min(x(t), right - 14), bottom + 11, "--soft", "center");
    }
  }

  function valueGrid() {
    const step = niceStep(high - low, (bottom - TOP) / 32), digits = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) {
      line(left, y(k * step), right, y(k * step), "--rule");
      write((k * step).toFixed(digits), left - 5, y(k * step), "--soft", "right");
    }
    if (!trend.unit) return;
    ctx.save();
    ctx.translate(9, 0.5 * (TOP + bottom));
    ctx.rotate(-Math.PI / 2);
    write(trend.unit, 0, 0, "--soft", "center");
    ctx.restore();
  }

  // Stretches of time as boxes, never narrower than a pixel, and each pixel painted once.
  function stretches(spans, top, tall, name, alpha) {
    ctx.fillStyle = colour(name);
    ctx.globalAlpha = alpha;
    let done = -Infinity;
    for (let k = 0; k < spans.length; k += 2) {
      if (spans[k + 1] < view.from || spans[k] > view.to) continue;
      const a = Math.max(left, x(spans[k])), b = Math.min(right, Math.max(a + 1, x(spans[k + 1])));
      if (b <= done) continue;
      ctx.fillRect(Math.max(a, done), top, b - Math.max(a, done), tall);
      done = b;
    }
    ctx.globalAlpha = 1;
  }

  function lanes() {
    const tall = (bottom - TOP) / trend.lanes.length;
    trend.lanes.forEach((lane, k) => {
      const top = TOP + k * tall;
      if (k) line(left, top, right, top, "--rule");
      write(lane.label, left - 5, top + tall / 2, "--ink", "right");
      stretches(lane.spans, top + 0.16 * tall, 0.68 * tall, lane.colour, lane.faint ? 0.55 : 1);
      for (const [t] of lane.moments) {
        if (t < view.from || t > view.to) continue;
        const at = x(t), middle = top + tall / 2, size = Math.min(5, 0.34 * tall);
        ctx.fillStyle = colour(lane.colour);
        ctx.beginPath();
        ctx.moveTo(at, middle - size);
        ctx.lineTo(at + 0.75 * size, middle);
        ctx.lineTo(at, middle + size);
        ctx.lineTo(at - 0.75 * size, middle);
        ctx.fill();
      }
    });
  }

  // A curve that flickers within a dot of the screen, as one bar a dot: a dashed or thick stroke that goes up and down a
  // thousand times shows nothing more and takes most of the time of a zoom.  Each bar reaches the one before it.
  function flickers(part) {
    let tall = 0;
    for (let k = 0; k < part.length; k += 3) tall += part[k + 2] - part[k + 1] || 0;
    return tall * (bottom - TOP) > FLICKER_PX * (high - low) * (part.length / 3);
  }

  function bars(part, curve) {
    ctx.fillStyle = colour(curve.colour);
    let under = NaN, over = NaN;
    for (let k = 0; k < part.length; k += 3) {
      let least = y(part[k + 1]), most = y(part[k + 2]); // downwards: most is the smaller
      if (over > least) least = over;
      if (under < most) most = under;
      under = y(part[k + 1]);
      over = y(part[k + 2]);
      if (!Number.isNaN(least)) ctx.fillRect(left + part[k] - 0.5, most - 0.5, 1, least - most + 1);
    }
  }

  function trace(part, curve) {
    if (flickers(part)) { bars(part, curve); return; }
    ctx.strokeStyle = colour(curve.colour);
    ctx.lineWidth = curve.width;
    ctx.lineJoin = "bevel"; // a mitre would reach beyond the value
    ctx.setLineDash(DASHES[curve.dash]);
    ctx.beginPath();
    let before = NaN;
    for (let k = 0; k < part.length; k += 3) {
      const at = left + part[k], one = y(part[k + 1]), other = y(part[k + 2]);
      if (Number.isNaN(one)) { before = NaN; continue; }
      const far = Math.abs(before - one) > Math.abs(before - other), first = far ? other : one, last = far ? one : other;
      if (Number.isNaN(before)) ctx.moveTo(at, first);
      else {
        if (curve.step) ctx.lineTo(at, before);
        ctx.lineTo(at, first);
      }
      if (last !== first) ctx.lineTo(at, last);
      else if (Number.isNaN(before)) ctx.lineTo(at + 0.01, first);
      before = last;
    }
    ctx.stroke();
  }

  function fill(parts, name) {
    const [below, above] = parts;
    ctx.fillStyle = colour(name);
    ctx.globalAlpha = 0.2;
    ctx.beginPath();
    for (let k = 0; k < above.length; k += 3) ctx.lineTo(left + above[k], y(above[k + 2]));
    for (let k = below.length - 3; k >= 0; k -= 3) ctx.lineTo(left + below[k], y(below[k + 1]));
    ctx.fill();
    ctx.globalAlpha = 1;
  }

  // Levels, and their words at the right on a bit of paper; the legend says which lie outside.
  function limits() {
    const used = [];
    trend.limits.forEach((one, k) => {
      const inside = one.value >= low && one.value <= high;
      if (figure.levels[k]) figure.levels[k].classList.toggle("out", !inside);
      if (!inside) return;
      line(left, y(one.value), right, y(one.value), one.colour, one.dash, 1.3);
      if (!one.label) return;
      const at = Math.max(TOP + 7, y(one.value) - 7);
      if (used.some((other) => Math.abs(other - at) < 12)) return; // no room: the legend has it
      used.push(at);
      const long = ctx.measureText(one.label).width;
      ctx.globalAlpha = 0.75;
      ctx.fillStyle = colour("--card");
      ctx.fillRect(right - long - 6, at - 6, long + 5, 12);
      ctx.globalAlpha = 1;
      write(one.label, right - 4, at, one.colour, "right");
    });
  }

  function marks() {
    let text = -Infinity;
    for (const mark of sheet.spec.marks) {
      if (mark.time_ms < view.from || mark.time_ms > view.to) continue;
      const trip = mark.kind === "trip", at = x(mark.time_ms);
      ctx.globalAlpha = trip ? 1 : 0.6;
      line(at, TOP, at, bottom, trip ? "--limit" : "--soft", trip ? "solid" : mark.kind === "operator" ? "dashed" : "dotted", trip ? 1.6 : 1);
      ctx.globalAlpha = 1;
      if (trip && at > text) {
        const turned = at > right - 40;
        write("trip", at + (turned ? -4 : 4), TOP + 7, "--limit", turned ? "right" : "left");
        text = at + 34;
      }
    }
  }

  stretches(trend.shaded, TOP, bottom - TOP, "--limit", 0.16);
  timeGrid();
  if (trend.lanes.length) lanes(); else valueGrid();
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, TOP, right - left, bottom - TOP);
  ctx.clip();
  bands.forEach((parts, k) => fill(parts, trend.bands[k].colour));
  marks();
  drawn.forEach((part, k) => trace(part, trend.curves[k]));
  limits();
  ctx.restore();
  ctx.setLineDash([]);
  ctx.strokeStyle = colour("--line");
  ctx.lineWidth = 1;
  ctx.strokeRect(left, TOP, right - left, bottom - TOP);
};
