// The teacher's view: takes the secret behind # for a cookie, keeps the numbers up to date, sends what is pressed.
(() => {
  "use strict";
  const EVERY_MS = 3000;
  const base = document.body.dataset.viewAddress;
  const by = (id) => document.getElementById(id);
  const STRANGER = "This page is the teacher's. Open the whole address that the terminal shows, with all that stands behind #.";

  function node(name, text, ...inside) {
    const made = document.createElement(name);
    if (text) made.textContent = text;
    made.append(...inside);
    return made;
  }
  // What has not changed is left alone: it would be read out again.
  const put = (id, text) => { if (by(id).textContent !== text) by(id).textContent = text; };
  const say = (text) => put("said", text);
  const seats = (n) => `${n} ${n === 1 ? "seat" : "seats"}`;
  const lasting = (s) => (s < 60 ? `${s} s` : `${Math.round(s / 60)} min`);

  function post(path, content) {
    const headers = { "Content-Type": "application/json" };
    return fetch(base + path, { method: "POST", headers, body: JSON.stringify(content) });
  }

  // ---- coming in
  async function enter() {
    const secret = location.hash.slice(1);
    if (!secret) return;
    // It stays neither in the address bar nor in what this tab goes back to.
    history.replaceState(null, "", location.pathname);
    try {
      const { status } = await post("key", { secret });
      if (status === 429) note = "Too many wrong addresses were tried from here. Wait half a minute and open it again.";
      else if (status !== 204) note = STRANGER;
      else note = "";
    } catch {
      note = "The server does not answer just now.";
    }
  }

  // ---- the numbers
  function line(number, text) {
    return node("li", "", node("b", String(number)), node("span", text));
  }
  function places(state) {
    const made = [];
    for (const { title, of, screens } of state.lessons) {
      if (!screens.length) continue;
      const rows = screens.map(({ place, words, here }) => line(here, `at ${place} of ${of}: ${words}`));
      made.push(node("h3", title), node("ul", "", ...rows));
    }
    if (state.elsewhere) made.push(node("ul", "", line(state.elsewhere, "in no lesson")));
    if (!made.length) made.push(node("p", "Nobody is here."));
    by("places").replaceChildren(...made);
  }
  function wrong(state) {
    const made = [];
    for (const { title, wrong: tasks } of state.lessons) {
      for (const { question, answers } of tasks) {
        made.push(node("h3", `${title}: ${question}`));
        made.push(node("ul", "", ...answers.map(({ answer, gave }) => line(gave, answer))));
      }
    }
    if (!made.length) made.push(node("p", "None so far."));
    by("wrong").replaceChildren(...made);
  }
  // A list that is open, or has the keyboard, is not changed under the hand.
  function choices(state) {
    const list = by("seat");
    const chosen = list.value;
    if (document.activeElement === list) return;
    list.replaceChildren(...state.seats.map(({ seat, idle_s: idle, where }) => {
      const option = node("option", `${seat}: ${lasting(idle)}${where ? `, ${where}` : ""}`);
      option.value = seat;
      return option;
    }));
    if (touched && state.seats.some(({ seat }) => String(seat) === chosen)) list.value = chosen;
    by("release").hidden = !state.seats.length;
  }

  let note = "";
  let touched = false;
  let muted = false;
  let before = "";
  function show(state) {
    const held = state.held ? `, kept for somebody: ${state.held}` : "";
    put("seats", `${seats(state.taken)} taken, ${state.free} free${held}.`);
    put("waiting", state.waiting ? `${state.waiting} waiting, the longest for ${lasting(state.longest_s)}.` : "Nobody waits.");
    muted = state.muted;
    put("sound", muted ? "Every page is silent." : "Pages may sound.");
    put("mute", muted ? "sound again" : "mute all");
    by("sound").dataset.muted = muted;
    choices(state);
    const lists = JSON.stringify([state.lessons, state.elsewhere]);
    if (lists === before) return;
    before = lists;
    places(state);
    wrong(state);
  }

  let clock = 0;
  async function ask() {
    clearTimeout(clock);
    try {
      const got = await fetch(`${base}state`, { cache: "no-store" });
      by("view").hidden = !got.ok;
      if (got.ok) show(await got.json());
      say(got.ok ? note : note || (got.status === 403 ? STRANGER : "The server does not answer just now."));
    } catch {
      say("The server does not answer just now. The numbers below are the last ones.");
    }
    clearTimeout(clock);
    clock = setTimeout(ask, EVERY_MS);
  }
  async function act(path, content, done) {
    try {
      const { ok, status } = await post(path, content);
      note = ok ? done : status === 404 ? "That seat is free already." : "That did not work: load this page again.";
    } catch {
      note = "The server does not answer just now.";
    }
    await ask();
  }
  by("seat").addEventListener("change", () => { touched = true; });
  by("release").addEventListener("submit", (event) => {
    event.preventDefault();
    const seat = Number(by("seat").value);
    touched = false;
    act("release", { seat }, `Seat ${seat} is free.`);
  });
  by("mute").addEventListener("click", () => {
    act("sound", { muted: !muted }, muted ? "Pages may sound again." : "Every page is silent now.");
  });
  window.addEventListener("hashchange", () => enter().then(ask));
  enter().then(ask);
})();
