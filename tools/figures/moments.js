// A cursor in the pictures of an acceptance record: both sides of the comparison, and how far apart, where one points or
// where the arrow keys lead.  Values are read back from the drawn lines, so they are right to a thousandth of the picture.
"use strict";
addEventListener("DOMContentLoaded", () => {
  for (const svg of document.querySelectorAll("svg[data-scale]")) {
    const [t0, t1, low, high, left, right, top, tall] = svg.dataset.scale.split(" ").map(Number);
    const [far, near] = ["right", "left"].map((side) => svg.querySelector(`.${side}`));
    const line = svg.querySelector(".at"), words = svg.querySelector(".told"), unit = svg.dataset.unit, name = svg.getAttribute("aria-label");
    let now = Number(svg.dataset.at);
    const time = (x) => t0 + ((x - left) / (right - left)) * (t1 - t0), place = (t) => left + ((t - t0) / (t1 - t0)) * (right - left);
    const value = (side, x) => {
      let best = null;
      for (const point of side ? side.points : []) if (!best || Math.abs(point.x - x) < Math.abs(best.x - x)) best = point;
      return best ? high - ((best.y - top) / tall) * (high - low) : NaN;
    };
    const said = (v) => (Number.isFinite(v) ? Number(v.toPrecision(4)).toString() : "–");
    const show = (t) => {
      now = Math.min(t1, Math.max(t0, t));
      const x = place(now), [a, b] = [value(near, x), value(far, x)];
      line.setAttribute("x1", x);
      line.setAttribute("x2", x);
      line.removeAttribute("visibility");
      words.textContent = near ? `${now.toFixed(1)} s: ${said(a)} against ${said(b)}, apart ${said(Math.abs(a - b))} ${unit}` : `${now.toFixed(1)} s`;
      svg.setAttribute("aria-label", `${name}; at ${words.textContent}`);
    };
    svg.addEventListener("pointermove", (event) => {
      const box = svg.getBoundingClientRect();
      show(time(((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width));
    });
    svg.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
      if (!step) return;
      event.preventDefault();
      show(now + (step * (t1 - t0)) / (event.shiftKey ? 20 : 160));
    });
  }
});
