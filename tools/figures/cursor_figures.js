// The machine at the cursor of a sheet of trends: compression loop, rotor strip and operating map.  Python has worked out the
// law of compression (kappa, bend) and what is lost (the plant model's own figure); here are only curves of that law.
"use strict";
window.twoslideCursorFigures = function (root, spec, sheet) {
  const POINTS = 14, FITS_SHARE = 0.005; // as tools/figures/compression_loop.py
  const { nearest, timeOf } = window.twoslideTrends, given = spec.cursor, find = (name) => root.querySelector(`.moment .${name}`);
  const loop = window.twoslideFigures.loop(find("loop"));
  const strip = given.strip ? window.twoslideFigures.strip(find("strip"), given.strip, spec.name || "strip") : null;
  const map = window.twoslideMap(find("map"), given.map);
  let run = given.runs[0];

  const value = (name, t) => {
    const column = sheet.columns[run.columns[name]];
    return column.y[nearest(column.axis, t)];
  };
  // Between the rows of a column that is thinner than the others.
  const between = (name, t) => {
    const { y, axis } = sheet.columns[run.columns[name]], near = nearest(axis, t), k = Math.max(0, timeOf(axis, near) > t ? near - 1 : near);
    if (k + 1 >= axis.n) return y[k];
    const share = Math.min(1, Math.max(0, (t - timeOf(axis, k)) / (timeOf(axis, k + 1) - timeOf(axis, k))));
    return y[k] + (y[k + 1] - y[k]) * share;
  };

  function loopAt(t) {
    const low = value("suction_kpa", t), high = Math.max(low, value("separator_kpa", t)), trapped = value("trapped_frac", t);
    const kappa = between("kappa", t), bend = between("bend", t), ideal = Math.log(high / low) / kappa;
    const opens = Math.log(Math.max(1, value("volume_ratio", t)));
    const pressure = (l) => low * Math.exp(kappa * l + bend * (l * l - ideal * l));
    const arc = (a, b) => Array.from({ length: POINTS }, (_, k) => a + ((b - a) * k) / (POINTS - 1)).map((l) => [trapped * Math.exp(-l), pressure(l)]);
    const opening = pressure(opens), volume = trapped * Math.exp(-opens), fits = Math.abs(opening - high) < FITS_SHARE * high;
    const kind = fits ? "none" : opening > high ? "over" : "under", lost = value("lost_kw", t);
    const at = `The port opens at ${opening.toFixed(0)} kPa in the flute`;
    return {
      loop: [[0, low], ...arc(0, opens), [volume, high], [0, high]], shade: fits ? [] : [...arc(opens, ideal), [volume, high]],
      kind, lost_kw: lost, opening_kpa: opening, running: value("running", t) > 0.5,
      words: fits ? `${at}, as good as discharge pressure.` : `${at}, ${Math.abs(opening - high).toFixed(0)} kPa ${kind === "over" ? "above" : "below"} discharge: ${kind}-compression, ${lost.toFixed(1)} kW.`,
    };
  }

  function edgesAt(t) {
    const edge = (grid, travel) => {
      const place = Math.min(1, Math.max(0, travel / 100)) * (grid.length - 1), k = Math.min(grid.length - 2, Math.floor(place));
      return grid[k] + (grid[k + 1] - grid[k]) * (place - k);
    };
    const degrees = (mm) => (given.edges.turn * Math.atan(mm / given.edges.offset_mm) * 180) / Math.PI;
    const capacity = edge(given.edges.capacity_mm, value("capacity_pct", t)), ratio = edge(given.edges.volume_ratio_mm, value("volume_ratio_pct", t));
    const overlap = Math.max(0, capacity - ratio), sealed = degrees(capacity), opens = degrees(ratio);
    const words = overlap > 0
      ? `The port opens at ${opens.toFixed(0)}° of the rotor, before the flute is sealed at ${sealed.toFixed(0)}°: the edges overlap by ${overlap.toFixed(1)} mm.`
      : `A flute is sealed at ${sealed.toFixed(0)}° of the rotor and opens to the port at ${opens.toFixed(0)}°.`;
    return { capacity_mm: capacity, volume_ratio_mm: ratio, sealed_deg: sealed, opens_deg: opens, overlap_mm: overlap, words };
  }

  function update(t) {
    if (Number.isFinite(value("suction_kpa", t)) && between("kappa", t) > 0) loop.update(loopAt(t));
    if (strip) strip.update(edgesAt(t));
    map.update(value("evaporating_c", t), value("condensing_c", t), value("suction_kpa", t), value("discharge_kpa", t));
  }

  function path() {
    const [x, y, on] = ["evaporating_c", "condensing_c", "running"].map((name) => sheet.columns[run.columns[name]].y);
    map.path(x, y, on);
  }

  const which = root.querySelector(".which");
  if (which) {
    which.addEventListener("change", () => {
      sheet.run = Number(which.value);
      run = given.runs[sheet.run];
      path();
      sheet.moveTo(sheet.now);
    });
  }
  path();
  return { update, loopAt, edgesAt };
};

// Saturated discharge over saturated suction temperature, with lines of equal pressure ratio and the limits.
window.twoslideMap = function (svg, data) {
  const NS = "http://www.w3.org/2000/svg", WIDTH = 560, HEIGHT = 400, LEFT = 52, RIGHT = 14, TOP = 26, BOTTOM = 46;
  const add = (name, attributes, text) => {
    const element = document.createElementNS(NS, name);
    for (const key in attributes) element.setAttribute(key, attributes[key]);
    if (text !== undefined) element.textContent = text;
    svg.appendChild(element);
    return element;
  };
  const [west, east] = data.evaporating_c, [south, north] = data.condensing_c;
  const x = (c) => LEFT + ((c - west) / (east - west)) * (WIDTH - LEFT - RIGHT), y = (c) => HEIGHT - BOTTOM - ((c - south) / (north - south)) * (HEIGHT - TOP - BOTTOM);
  const held = (v, low, high) => Math.min(high, Math.max(low, v)), step = (span) => window.twoslideTrends.niceStep(span, 6);
  svg.setAttribute("viewBox", `0 0 ${WIDTH} ${HEIGHT}`);
  for (let s = step(east - west), c = Math.ceil(west / s) * s; c <= east; c += s) {
    add("line", { x1: x(c), x2: x(c), y1: TOP, y2: HEIGHT - BOTTOM, class: "iso" });
    add("text", { x: x(c), y: HEIGHT - BOTTOM + 17, class: "soft middle" }, c.toFixed(s < 1 ? 1 : 0));
  }
  for (let s = step(north - south), c = Math.ceil(south / s) * s; c <= north; c += s) {
    add("line", { x1: LEFT, x2: WIDTH - RIGHT, y1: y(c), y2: y(c), class: "iso" });
    add("text", { x: LEFT - 6, y: y(c) + 4, class: "soft end" }, c.toFixed(s < 1 ? 1 : 0));
  }
  for (const iso of data.ratios) {
    const inside = iso.points.filter((p) => p[0] >= west && p[0] <= east && p[1] >= south && p[1] <= north);
    if (inside.length < 2) continue;
    add("path", { class: "path rest", style: "stroke-dasharray:none;opacity:.5", d: inside.map((p, k) => `${k ? "L" : "M"}${x(p[0]).toFixed(1)} ${y(p[1]).toFixed(1)}`).join("") });
    const end = inside[inside.length - 1];
    add("text", { x: x(end[0]) - 3, y: y(end[1]) + 12, class: "isolabel end" }, `PR ${iso.ratio}`);
  }
  for (const limit of data.limits) {
    const at = limit.evaporating_c, upright = at !== undefined;
    if (upright ? at < west || at > east : limit.condensing_c < south || limit.condensing_c > north) continue;
    const place = upright ? { x1: x(at), x2: x(at), y1: TOP, y2: HEIGHT - BOTTOM } : { x1: LEFT, x2: WIDTH - RIGHT, y1: y(limit.condensing_c), y2: y(limit.condensing_c) };
    add("line", { ...place, class: "bound" });
    add("text", upright ? { x: x(at) + 4, y: HEIGHT - BOTTOM - 6, class: "limit" } : { x: LEFT + 4, y: y(limit.condensing_c) - 5, class: "limit" }, limit.label);
  }
  const rest = add("path", { class: "path rest" }), runs = add("path", { class: "path" }), here = add("circle", { r: 6, class: "here" });
  add("text", { x: LEFT, y: HEIGHT - 8, class: "soft" }, "saturated suction, °C");
  add("text", { x: 4, y: 14, class: "soft" }, "saturated discharge, °C");
  const told = add("text", { x: WIDTH - RIGHT, y: 14, class: "label end" });
  svg.querySelectorAll(".path, .iso").forEach((one) => svg.insertBefore(one, svg.firstChild));

  function path(evaporating, condensing, on) {
    const parts = ["", ""], dots = [east - west, north - south].map((span) => span / 300);
    let last = null, state = -1;
    for (let k = 0; k < evaporating.length; k++) {
      const a = evaporating[k], b = condensing[k], now = on[k] > 0.5 ? 1 : 0;
      if (!Number.isFinite(a + b)) continue;
      if (last && now === state && Math.abs(a - last[0]) < dots[0] && Math.abs(b - last[1]) < dots[1]) continue;
      const point = `${x(held(a, west, east)).toFixed(1)} ${y(held(b, south, north)).toFixed(1)}`;
      if (last && now !== state) parts[now] += `M${x(held(last[0], west, east)).toFixed(1)} ${y(held(last[1], south, north)).toFixed(1)}`;
      parts[now] += (last ? "L" : "M") + point;
      last = [a, b];
      state = now;
    }
    rest.setAttribute("d", parts[0]);
    runs.setAttribute("d", parts[1]);
  }

  function update(a, b, suction, discharge) {
    if (!Number.isFinite(a + b)) return;
    here.setAttribute("cx", x(held(a, west, east)));
    here.setAttribute("cy", y(held(b, south, north)));
    told.textContent = `${a.toFixed(1)} / ${b.toFixed(1)} °C, PR ${(discharge / suction).toFixed(2)}`;
    svg.setAttribute("aria-label", `At ${a.toFixed(1)} °C saturated suction (${suction.toFixed(0)} kPa) and ${b.toFixed(1)} °C saturated discharge (${discharge.toFixed(0)} kPa), pressure ratio ${(discharge / suction).toFixed(2)}.`);
  }
  return { path, update };
};
