// Draws the rotor strip and the compression loop as SVG from data that Python has worked out (tools/figures/*.py).
// No physics here.  Colours come from the page's style: --capacity, --ratio, --limit, --ink, --soft, --rule, --card.
"use strict";
(function () {
  const NS = "http://www.w3.org/2000/svg";

  function add(parent, name, attributes, text) {
    const element = document.createElementNS(NS, name);
    for (const key in attributes) element.setAttribute(key, attributes[key]);
    if (text !== undefined) element.textContent = text;
    parent.appendChild(element);
    return element;
  }

  function set(element, attributes) {
    for (const key in attributes) element.setAttribute(key, attributes[key]);
  }

  const path = (points) => points.map((p, k) => (k ? "L" : "M") + p[0].toFixed(1) + " " + p[1].toFixed(1)).join("");

  // The rotor unrolled: x along it, y round it, one flute pitch high; the same scale both ways.
  function strip(svg, data, id) {
    const LEFT = 12, TOP = 58, SCALE = 2.5, WIDE = data.end_mm - data.start_mm, HIGH = data.pitch_mm;
    const LANES = TOP + HIGH * SCALE + 12, LANE = 20;
    const x = (mm) => LEFT + (mm - data.start_mm) * SCALE;
    const width = LEFT * 2 + WIDE * SCALE, height = LANES + 2 * (LANE + 8) + 26;
    svg.replaceChildren();
    set(svg, { viewBox: `0 0 ${width.toFixed(0)} ${height.toFixed(0)}` });
    const defs = add(svg, "defs", {});
    const clip = add(defs, "clipPath", { id: `${id}-window` });
    add(clip, "rect", { x: x(data.start_mm), y: TOP, width: WIDE * SCALE, height: HIGH * SCALE });
    const hatch = add(defs, "pattern", { id: `${id}-hatch`, width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
    add(hatch, "line", { x1: 0, y1: 0, x2: 0, y2: 7, class: "hatch" });
    const zones = add(svg, "g", { "clip-path": `url(#${id}-window)` });
    const sealed = add(zones, "rect", { y: TOP, height: HIGH * SCALE, class: "sealed" });
    const open = add(zones, "rect", { y: TOP, height: HIGH * SCALE, class: "open" });
    const leak = add(zones, "rect", { y: TOP, height: HIGH * SCALE, fill: `url(#${id}-hatch)` });
    const flutes = add(zones, "g", { class: "flutes" });
    for (let k = -3; k <= 3; k++) {
      const points = data.flute_mm.map((p) => [x(p[0]), TOP + (HIGH / 2 + p[1] + k * HIGH) * SCALE]);
      add(flutes, "path", { d: path(points) });
    }
    add(svg, "rect", { x: x(data.start_mm), y: TOP, width: WIDE * SCALE, height: HIGH * SCALE, class: "frame" });
    add(svg, "text", { x: x(data.start_mm), y: 13, class: "soft" }, "suction end");
    add(svg, "text", { x: x(data.end_mm), y: 13, class: "soft end" }, "discharge end");
    add(svg, "line", { x1: x(data.closing_mm), x2: x(data.closing_mm), y1: TOP, y2: TOP + HIGH * SCALE, class: "closing" });
    const marks = [["capacity", data.capacity_mm, "sealed"], ["ratio", data.volume_ratio_mm, "opens"]].map((one, lane) => {
      const y = LANES + lane * (LANE + 8);
      const bar = add(svg, "rect", { y: y, height: LANE, class: `body ${one[0]}` });
      for (const end of one[1]) add(svg, "line", { x1: x(end), x2: x(end), y1: y - 3, y2: y + LANE + 3, class: `stop ${one[0]}` });
      const edge = add(svg, "line", { y1: TOP - 4, y2: y + LANE, class: `edge ${one[0]}` });
      const label = add(svg, "text", { y: lane ? 48 : 31, class: `label ${one[0]}` });
      const name = add(svg, "text", { y: y + 14, class: "inside" }, lane ? "volume-ratio slide holds the port shut" : "capacity slide seals");
      return { bar, edge, label, name, lane };
    });
    const foot = height - 6;
    add(svg, "line", { x1: x(data.start_mm), x2: x(data.start_mm + 50), y1: foot - 4, y2: foot - 4, class: "ruler" });
    add(svg, "text", { x: x(data.start_mm + 53), y: foot, class: "soft" }, "50 mm both ways; dashed: a free flute closes");

    function place(label, at, text) {
      const near = Math.min(Math.max(at, LEFT + 4), width - LEFT - 4);
      const right = near > width * 0.5; // on the side that has more room, and shifted where even that is too little
      if (label.textContent !== text) {
        label.textContent = text;
        label.long = label.getComputedTextLength();
      }
      const begins = right ? near - 5 - label.long : near + 5;
      set(label, { x: Math.max(2, Math.min(begins, width - 2 - label.long)) });
    }

    function update(edges) {
      const c = x(edges.capacity_mm), v = x(edges.volume_ratio_mm), end = x(data.end_mm), start = x(data.start_mm);
      set(sealed, { x: Math.min(c, v), width: Math.max(0, v - c) });
      set(open, { x: v, width: Math.max(0, end - v) });
      set(leak, { x: v, width: Math.max(0, c - v) });
      set(marks[0].bar, { x: c, width: Math.max(0, end - c) });
      set(marks[1].bar, { x: start, width: Math.max(0, v - start) });
      set(marks[0].name, { x: end - 6, "text-anchor": "end" });
      set(marks[1].name, { x: start + 6 });
      set(marks[0].edge, { x1: c, x2: c });
      set(marks[1].edge, { x1: v, x2: v });
      place(marks[0].label, c, `sealed at ${edges.sealed_deg.toFixed(0)}° of the rotor`);
      place(marks[1].label, v, `opens at ${edges.opens_deg.toFixed(0)}°` + (edges.overlap_mm > 0 ? `, ${edges.overlap_mm.toFixed(1)} mm too early` : ""));
      svg.setAttribute("aria-label", edges.words || "");
    }
    return { update };
  }

  // Pressure against flute volume.  The scale holds still until the loop outgrows it or has long been far below it.
  function loop(svg) {
    const WIDTH = 560, HEIGHT = 420, LEFT = 60, RIGHT = 26, TOP = 34, BOTTOM = 48;
    let top = 0, small = 0;
    svg.replaceChildren();
    set(svg, { viewBox: `0 0 ${WIDTH} ${HEIGHT}` });
    const grid = add(svg, "g", { class: "grid" });
    const shade = add(svg, "path", { class: "shade" });
    const discharge = add(svg, "line", { x1: LEFT, x2: WIDTH - RIGHT, class: "level" });
    const outline = add(svg, "path", { class: "outline" });
    const word = add(svg, "text", { x: WIDTH - RIGHT, y: 18, class: "label end limit" });
    const port = add(svg, "circle", { r: 4, class: "port" });
    const portLabel = add(svg, "text", { class: "soft" });
    const x = (share) => LEFT + share * (WIDTH - LEFT - RIGHT);
    const y = (kpa) => HEIGHT - BOTTOM - (kpa / top) * (HEIGHT - TOP - BOTTOM);

    function scale() {
      grid.replaceChildren();
      const step = top > 3000 ? 1000 : top > 1200 ? 500 : 200;
      for (let p = 0; p <= top; p += step) {
        add(grid, "line", { x1: LEFT, x2: WIDTH - RIGHT, y1: y(p), y2: y(p) });
        add(grid, "text", { x: LEFT - 6, y: y(p) + 4, class: "soft end" }, String(p));
      }
      for (let s = 0; s <= 100; s += 25) {
        add(grid, "line", { x1: x(s / 100), x2: x(s / 100), y1: y(0), y2: y(top) });
        add(grid, "text", { x: x(s / 100), y: HEIGHT - BOTTOM + 17, class: "soft middle" }, s + " %");
      }
      add(grid, "text", { x: LEFT, y: HEIGHT - 6, class: "soft" }, "flute volume, of the full-load volume");
      add(grid, "text", { x: 4, y: 18, class: "soft" }, "kPa abs");
    }

    function update(data) {
      const highest = Math.max(...data.loop.map((p) => p[1]));
      const wanted = Math.ceil((highest * 1.12) / 200) * 200;
      small = wanted < top * 0.7 ? small + 1 : 0;
      if (wanted > top || small > 100) {
        top = wanted;
        small = 0;
        scale();
      }
      const at = (points) => points.map((p) => [x(p[0]), y(p[1])]);
      const level = data.loop[data.loop.length - 1][1];
      outline.setAttribute("d", path(at(data.loop)) + "Z");
      shade.setAttribute("d", data.shade.length ? path(at(data.shade)) + "Z" : "");
      set(shade, { class: "shade " + data.kind });
      set(discharge, { y1: y(level), y2: y(level) });
      const opens = data.loop[data.loop.length - 3];
      set(port, { cx: x(opens[0]), cy: y(opens[1]) });
      set(portLabel, { x: x(opens[0]) + 8, y: y(opens[1]) - 6 });
      portLabel.textContent = `opens at ${data.opening_kpa.toFixed(0)} kPa`;
      const lost = data.kind === "none" ? "the port opens at discharge pressure" : `${data.kind}-compression: ${data.lost_kw.toFixed(1)} kW`;
      word.textContent = data.running === false ? "at rest: what the slides would do" : lost;
      svg.setAttribute("aria-label", data.words || "");
      svg.classList.toggle("rest", data.running === false);
    }
    return { update };
  }

  window.twoslideFigures = { strip, loop };
})();
