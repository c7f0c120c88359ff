// What a person does: buttons and forms become messages; only who holds control finds them open.
"use strict";
(function () {
  const find = (id) => document.getElementById(id);
  const press = (id, make) => find(id).addEventListener("click", () => { const message = make(); if (message) bench.send(message); });
  let pending = [];

  press("run", () => ({ do: "run" }));
  press("pause", () => ({ do: "pause" }));
  press("scan", () => ({ do: "scan" }));
  press("stop", () => ({ do: "act", event: { kind: "operator", action: "stop_button" } }));
  press("take", () => ({ do: "take" }));
  press("ask", () => ({ do: "ask" }));
  press("release", () => ({ do: "hand_over", to: 0 }));
  press("hand", () => (find("others").value ? { do: "hand_over", to: Number(find("others").value) } : null));
  press("back", () => ({ do: "back", moment: find("moments").selectedIndex }));
  find("speed").addEventListener("change", () => bench.send({ do: "speed", factor: Number(find("speed").value) }));
  find("keep").addEventListener("click", () => bench.send({ do: "keep" }, (ok) => { if (ok) find("get-session").hidden = false; }));
  find("export").addEventListener("click", () => bench.send({ do: "export" }, (ok) => {
    if (ok) find("get-log").hidden = find("get-events").hidden = false;
  }));

  find("do-mark").addEventListener("submit", (event) => {
    event.preventDefault();
    if (find("mark").value.trim()) bench.send({ do: "mark", name: find("mark").value.trim() });
  });

  for (const form of document.querySelectorAll("form[data-event]")) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const made = JSON.parse(form.dataset.event);
      for (const field of form.elements) {
        const value = field.name ? field.value.trim() : "";
        if (value) made[field.name] = field.dataset.whole === "yes" ? Number(value) : value;
      }
      bench.send({ do: "act", event: made });
    });
  }

  // A table is written as values with commas between them; true, false and bare numbers as in a sheet.
  function written(text) {
    const one = (part) => (part === "true" ? true : part === "false" ? false : /^[+-]?\d+(\.\d+)?$/.test(part) ? Number(part) : part);
    const parts = text.split(/,\s+/).map((part) => part.trim());
    return parts.length > 1 ? parts.map(one) : one(text);
  }

  function entered() {
    const setting = find("setting").value.trim(), text = find("value").value.trim();
    if (setting && text) return { setting, value: written(text) };
    bench.say("not done: name a setting and give its new value", true);
    return null;
  }

  function listPending() {
    find("pending").replaceChildren(...pending.map((one) => {
      const item = document.createElement("li");
      item.textContent = `${one.setting}: ${one.value}`;
      return item;
    }));
  }

  if (find("do-setting")) {
    find("setting").addEventListener("input", () => bench.onSettings());
    find("add").addEventListener("click", () => {
      const one = entered();
      if (one) pending = [...pending.filter((other) => other.setting !== one.setting), one];
      listPending();
    });
    find("do-setting").addEventListener("submit", (event) => {
      event.preventDefault();
      const last = pending.length && !find("value").value.trim() ? null : entered();
      const changes = last ? [...pending.filter((other) => other.setting !== last.setting), last] : pending;
      if (changes.length) bench.send({ do: "settings", changes }, (ok) => {
        pending = ok ? [] : pending;
        if (ok) find("value").value = "";
        listPending();
      });
    });
  }

  bench.onHello = () => {
    if (!find("settings-known")) return;
    find("settings-known").replaceChildren(...bench.facts.settings_known.map((one) => {
      const option = document.createElement("option");
      option.value = one.key;
      return option;
    }));
  };

  bench.onSettings = () => {
    if (!find("do-setting") || !bench.facts) return;
    const key = find("setting").value.trim();
    const known = bench.facts.settings_known.find((one) => one.key === key);
    find("setting-told").textContent = known ? `now ${bench.settings[key]}; allowed: ${known.range}. Default chosen: ${known.why}` : "no setting of this name; begin to type and choose";
  };

  bench.onMoments = (moments) => {
    find("moments").replaceChildren(...moments.map((one) => {
      const option = document.createElement("option");
      option.textContent = `${one.name}, ${bench.clock(one.time_ms)}`;
      return option;
    }));
    find("moments").selectedIndex = moments.length - 1;
  };

  bench.onControl = (message) => {
    bench.holder = message.holder;
    const mine = message.holder === bench.me, others = message.viewers.filter((one) => one !== bench.me);
    for (const set of document.querySelectorAll("fieldset.held")) set.disabled = !mine;
    const who = mine ? "You hold control." : message.holder ? `Viewer ${message.holder} holds control; you watch.` : "Nobody holds control.";
    find("who").textContent = `You are viewer ${bench.me}; ${message.viewers.length === 1 ? "nobody else watches" : `${message.viewers.length} watch`}. ${who}`;
    document.body.dataset.control = mine ? "mine" : message.holder ? "other" : "free";
    find("take").disabled = message.holder !== 0;
    find("ask").disabled = mine || message.holder === 0;
    find("release").disabled = !mine;
    find("hand").disabled = !mine || !others.length;
    const chosen = find("others").value;
    find("others").replaceChildren(...others.map((one) => {
      const option = document.createElement("option");
      option.value = option.textContent = String(one);
      return option;
    }));
    if (others.includes(Number(chosen))) find("others").value = chosen;
    find("asking").textContent = message.asking && mine && message.asking !== bench.me ? `Viewer ${message.asking} asks for control.` : "";
  };
})();
