// The page's line to the bench: what comes in is shown here; what a person does goes out in doing.js.
"use strict";
const bench = { me: 0, holder: 0, socket: null, ticket: 0, lastNumber: null, missed: 0, facts: null, settings: {}, asked: new Map() };
(function () {
  const find = (id) => document.getElementById(id);
  const KEPT_ROWS = 7200, DRAW_MS = 250, EVENTS_SHOWN = 200;
  const columns = JSON.parse(find("columns").textContent);
  const scaled = JSON.parse(find("scaled").textContent);
  const token = new URLSearchParams(location.search).get("token");
  let waiting = [], whole = null, drawn = 0, lastRow = null, strip = null, loop = null, figures = null, retry = 500, pause = DRAW_MS;

  for (const key of document.querySelectorAll(".key i")) key.style.borderColor = key.dataset.colour;
  if (token) for (const link of document.querySelectorAll("a[download]")) link.href += "?token=" + encodeURIComponent(token);

  bench.clock = (ms) => {
    const tenths = Math.floor(ms / 100), s = Math.floor(tenths / 10), two = (n) => String(n).padStart(2, "0");
    return `${two(Math.floor(s / 3600))}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}.${tenths % 10}`;
  };

  bench.say = (text, bad) => {
    find("said").textContent = text;
    find("said").classList.toggle("bad", Boolean(bad));
  };

  bench.send = (message, then) => {
    if (!bench.socket || bench.socket.readyState !== WebSocket.OPEN) {
      bench.say("not done: no connection to the bench", true);
      return;
    }
    message.ticket = ++bench.ticket;
    if (then) bench.asked.set(message.ticket, then);
    bench.socket.send(JSON.stringify(message));
  };

  function broken(text) {
    find("link").textContent = text;
    find("link").hidden = !text;
    document.body.dataset.link = text ? "broken" : "open";
    if (text) for (const set of document.querySelectorAll("fieldset.held")) set.disabled = true;
  }

  function connect() {
    const end = token ? "?token=" + encodeURIComponent(token) : "";
    const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live${end}`);
    bench.socket = socket;
    socket.onmessage = (event) => take(JSON.parse(event.data));
    socket.onopen = () => { retry = 500; };
    socket.onclose = () => {
      broken("No connection to the bench: the server has ended or cannot be reached. Trying again; the session so far is on its disk.");
      find("state").textContent = "not connected";
      bench.asked.clear();
      setTimeout(connect, retry);
      retry = Math.min(retry * 1.5, 4000);
    };
  }

  function take(message) {
    if (message.kind === "frame") frame(message);
    else if (message.kind === "history" || message.kind === "rewound") history(message);
    else if (message.kind === "reply") reply(message);
    else if (message.kind === "hello") hello(message);
    else if (message.kind === "score") score(message.scores);
    else if (message.kind === "control") bench.onControl(message);
    else if (message.kind === "moments") bench.onMoments(message.moments);
    else if (message.kind === "settings") { bench.settings = message.settings; bench.onSettings(); }
    else if (message.kind === "gap") bench.say(`this page was too slow and skipped ${message.missed} updates; what it shows is read anew`, true);
    else if (message.kind === "engine") broken(`${message.text || "The engine of this session has ended"}. Start the bench again with --resume and this session's folder.`);
  }

  function hello(message) {
    bench.me = message.you;
    bench.facts = message.facts;
    strip = twoslideFigures.strip(find("strip"), message.facts.strip, "strip");
    loop = twoslideFigures.loop(find("loop"));
    broken("");
    bench.onHello();
  }

  function reply(message) {
    const then = bench.asked.get(message.ticket);
    bench.asked.delete(message.ticket);
    if (message.text) bench.say(message.ok ? message.text : `not done: ${message.text}`.replace("not done: not done", "not done"), !message.ok);
    else if (message.ok) bench.say("");
    if (then) then(message.ok);
  }

  function frame(message) {
    if (bench.lastNumber !== null && message.n !== bench.lastNumber + 1) bench.missed += message.n - bench.lastNumber - 1;
    bench.lastNumber = message.n;
    document.body.dataset.frame = message.n;
    stand(message);
    if (message.rows && message.rows.length) {
      waiting.push(...message.rows);
      lastRow = message.rows[message.rows.length - 1];
    }
    if (message.events && message.events.length) happened(message.events);
    if (message.words) figures = message;
    soon();
  }

  function history(message) {
    bench.lastNumber = message.n;
    stand(message);
    whole = message.rows;
    waiting = [];
    lastRow = whole.length ? whole[whole.length - 1] : null;
    find("events").tBodies[0].replaceChildren();
    happened(message.events);
    bench.onMoments(message.moments);
    bench.settings = message.settings;
    bench.onSettings();
    figures = message;
    soon();
  }

  function stand(message) {
    find("clock").textContent = bench.clock(message.time_ms);
    find("state").textContent = message.ended ? `ended: ${message.ended}` : message.state;
    document.body.dataset.state = message.state;
    document.body.dataset.time = message.time_ms;
    if (document.activeElement !== find("speed")) find("speed").value = String(message.speed);
  }

  // Drawing waits a little, so that ten updates a second cost four drawings; no row is left out.
  function soon() {
    if (drawn) return;
    drawn = setTimeout(() => {
      const begun = performance.now();
      drawn = 0;
      draw();
      pause = Math.max(DRAW_MS, 3 * (performance.now() - begun)); // a slow machine keeps time for buttons and rows
    }, document.hidden ? 2000 : pause);
  }

  function model(name) {
    for (const one of (window.Bokeh ? Bokeh.documents : [])) {
      const found = one.get_model_by_name(name);
      if (found) return found;
    }
    return null;
  }

  function draw() {
    const source = model("rows"), times = model("times");
    if (!source) { soon(); return; }
    const asColumns = (rows) => Object.fromEntries(columns.map((one, k) => [one.name, rows.map((row) => row[k])]));
    if (whole) {
      source.data = asColumns(whole);
      whole = null;
    }
    if (waiting.length) {
      source.stream(asColumns(waiting.slice(-KEPT_ROWS)), KEPT_ROWS);
      waiting = [];
    }
    const at = source.data.time_ms;
    if (at.length) {
      const last = at[at.length - 1], span = Number(find("window").value);
      const start = span ? Math.max(at[0], last - span) : at[0];
      times.setv({ start, end: Math.max(last, at[0] + 1000) });
      fit(source.data, start);
    }
    document.body.dataset.rows = at.length;
    now();
    if (!figures) return;
    if (figures.strip) strip.update(figures.strip);
    if (figures.loop) loop.update(figures.loop);
    const w = figures.words;
    const more = [w.inhibit !== "none" ? `held back: ${w.inhibit}` : "", w.trip_first_out !== "none" ? `tripped: ${w.trip_first_out}` : "", w.start_refused !== "none" ? `start waits: ${w.start_refused}` : ""];
    find("words").textContent = [`Motor ${w.motor}, sequence: ${w.mode}`, ...more.filter(Boolean)].join(". ") + ". " + (figures.strip ? figures.strip.words + " " + figures.loop.words : "");
    find("words").classList.toggle("bad", w.trip_first_out !== "none");
    figures = null;
  }

  // The values of every trend but those with a span of their own reach from the lowest to the highest in view.
  function fit(data, start) {
    let first = 0;
    while (first < data.time_ms.length - 1 && data.time_ms[first] < start) first++;
    for (const [name, shown] of Object.entries(scaled)) {
      let low = Infinity, high = -Infinity;
      for (const column of shown) {
        for (let k = first; k < data[column].length; k++) {
          const value = data[column][k];
          if (value < low) low = value;
          if (value > high) high = value;
        }
      }
      const air = 0.06 * (high - low) || Math.max(0.5, 0.01 * Math.abs(high));
      if (low <= high) model(`values-${name}`).setv({ start: low - air, end: high + air });
    }
  }

  function now() {
    const cells = find("now").querySelectorAll("dd");
    columns.slice(1).forEach((one, k) => {
      cells[k].textContent = lastRow ? `${lastRow[k + 1].toFixed(one.digits)} ${one.unit}` : "–";
    });
  }

  function happened(events) {
    const body = find("events").tBodies[0];
    for (const [time, kind, text] of events) {
      const row = body.insertRow(0);
      for (const cell of [bench.clock(time), kind, text]) row.insertCell().textContent = cell;
      if (kind === "trip") row.className = "bad";
    }
    while (body.rows.length > EVENTS_SHOWN) body.deleteRow(-1);
  }

  function score(scores) {
    const body = find("score").tBodies[0], arrow = { lower: " ↓", higher: " ↑", none: "" };
    body.replaceChildren();
    let group = "";
    for (const one of scores) {
      if (one.group !== group) {
        const head = body.insertRow();
        head.className = "group";
        head.innerHTML = '<th scope="rowgroup" colspan="2"></th>';
        head.cells[0].textContent = group = one.group;
      }
      const row = body.insertRow();
      row.innerHTML = '<th scope="row"></th><td class="figure"></td>';
      row.cells[0].textContent = one.label + arrow[one.direction];
      row.cells[1].textContent = `${one.text} ${one.unit === "1" ? "" : one.unit}`;
    }
  }

  find("window").addEventListener("change", soon);
  window.addEventListener("load", () => { now(); connect(); });
})();
