// What a page does for itself: says that it is loading, says goodbye to its kernel when it is left, says so when its
// kernel or the server has gone, and in a room tells the server that it is being read and what has been solved.
(() => {
  "use strict";

  window.voila_heartbeat = () => {};
  window.voila_process = () => {};
  // Called twice, in either order: when the cells have arrived and when the front end's styles are there.
  window.display_cells = () => {
    if (!window.themeLoaded) {
      window.cellLoaded = true;
      return;
    }
    document.getElementById("loading")?.remove();
    const cells = document.getElementById("rendered_cells");
    if (cells) cells.style.display = "";
  };
  window.voila_finish = window.display_cells;

  // Verdict and curve can be read before the front end is there; they go when the live plot stands in their place.
  window.piezolabStill = () => {
    const main = document.getElementById("rendered_cells");
    document.getElementById("loading")?.remove();
    main.prepend(document.getElementById("still-bar"));
    main.style.display = "";
  };
  const taken = () => {
    document.getElementById("still")?.remove();
    document.getElementById("still-bar")?.remove();
  };
  window.addEventListener("piezolab:drawn", taken, { once: true });
  window.addEventListener("piezolab:failed", taken, { once: true });

  // While the page still arrives, the element can stand there with half of its text.
  const settings = () => {
    try {
      return JSON.parse(document.getElementById("jupyter-config-data")?.textContent ?? "{}");
    } catch {
      return {};
    }
  };
  const address = (path) => {
    const { baseUrl, kernelId } = settings();
    return kernelId ? `${baseUrl}${path}${kernelId}` : null;
  };

  // A plot made later must know that the drawing library did not come.
  window.addEventListener(
    "error",
    ({ target }) => {
      if (target instanceof HTMLScriptElement && "piezolabPlotly" in target.dataset) target.dataset.failed = "yes";
    },
    true,
  );

  // ---- leaving: pagehide, since phones send no beforeunload, and beforeunload comes before the visitor has
  // decided. The browser may keep the page for "back", but its kernel is gone then: load it anew.
  window.addEventListener("pagehide", () => {
    const leave = address("leave/");
    if (leave) navigator.sendBeacon(leave);
  });
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) location.reload();
  });

  // ---- noticing that nobody answers any more
  const WAIT_MS = 2000;
  let open = 0;
  let timer = 0;
  let silent = 0;

  // Why the server closed the channel, by the code it gave.
  const REASONS = {
    4408: ["Nobody has touched this page for a while, so its seat went to somebody else. Nothing of yours is lost. ", "carry on"],
    4409: ["You have opened other pages since, and this one gave its seat to them. ", "carry on here"],
    4410: ["The teacher has given this seat to somebody else. What is kept in this browser stays. ", "carry on"],
    4413: ["This page needed too much memory and was ended. ", "open it again"],
    4429: ["This page sent far more than a page does, so it was stopped. ", "open it again"],
  };
  let reason = null;

  function show(sentence, way = "open it again") {
    const banner = document.getElementById("pz-gone");
    if (!banner || !banner.hidden) return;
    const again = document.createElement("a");
    again.href = location.href;
    again.textContent = way;
    if (way.startsWith("carry on")) again.className = "pz-carry-on";
    // The address may have changed since, and a fragment in it would only scroll.
    again.addEventListener("click", (event) => {
      event.preventDefault();
      location.reload();
    });
    banner.replaceChildren(sentence.trim() + " Your chain is kept in the address: ", again, ".");
    banner.hidden = false;
    document.getElementById("pz-idle")?.remove();
  }
  function hide() {
    const banner = document.getElementById("pz-gone");
    if (banner) banner.hidden = true;
  }

  function checkIn(ms) {
    clearTimeout(timer);
    timer = setTimeout(check, ms);
  }
  async function check() {
    if (open > 0) return;
    let status = 0;
    try {
      status = (await fetch(address("api/kernels/"), { cache: "no-store" })).status;
    } catch {
      status = 0;
    }
    if (open > 0) return;
    if (status === 404 && silent > 0 && !reason) return comeBack();
    if (status === 404) return show(...(reason ?? ["This page has stopped answering."]));
    if (status === 0 || status >= 500) {
      silent += 1;
      if (silent >= 2) show("The server cannot be reached just now. This page opens again by itself once it answers.");
    } else if (silent > 0) {
      silent = 0;
      window.dispatchEvent(new Event("piezolab:server-back"));
    }
    checkIn(WAIT_MS);
  }

  // ---- a server that was gone and answers again: the page opens anew, a few seconds later than the next one. What was
  // typed and not yet taken goes along; all else stands in the address or is kept by its own part.
  const TYPED = "piezolab-typed";
  let coming = 0;
  const texts = () => [...document.querySelectorAll("main :is(input:not([type]), input[type=text], textarea)")]
    .filter((field) => !field.closest(".pz-controls") && !field.readOnly);
  const nameOf = (field) =>
    [field.closest("form, [role=group]")?.getAttribute("aria-label"), field.name, field.labels?.[0]?.textContent].join("/");
  function comeBack() {
    const banner = document.getElementById("pz-gone");
    banner.textContent = "The server answers again: this page opens anew in a few seconds.";
    banner.hidden = false;
    coming ||= setTimeout(async () => {
      coming = 0;
      const asked = fetch(address("api/kernels/"), { cache: "no-store" });
      if (!(await asked.then(({ status }) => status < 500, () => false))) {
        hide(); // gone once more
        return checkIn(WAIT_MS);
      }
      const typed = texts().filter((field) => field.value).map((field) => [nameOf(field), field.value]);
      try {
        sessionStorage.setItem(TYPED, JSON.stringify({ at: location.pathname, typed }));
      } catch { /* a browser that keeps nothing */ }
      location.reload();
    }, 1000 + 5000 * Math.random());
  }
  window.addEventListener("piezolab:drawn", () => {
    let kept = null;
    try {
      kept = JSON.parse(sessionStorage.getItem(TYPED));
      sessionStorage.removeItem(TYPED);
    } catch { return; }
    if (kept?.at !== location.pathname) return;
    // A part that is made late gets its text when it is there; each once, so that nobody's new words are lost.
    let left = kept.typed;
    for (const delay of [0, 500, 2000, 5000]) {
      setTimeout(() => {
        left = left.filter(([name, text]) => {
          const field = texts().find((one) => nameOf(one) === name);
          if (field && field !== document.activeElement) field.value = text;
          return !field;
        });
      }, delay);
    }
  }, { once: true });

  // ---- in a room the teacher may silence every page: whatever makes the sound, it stops and does not begin again
  const MUTED = "Your teacher has silenced every page for now.";
  const FADED_MS = 150;
  const sounds = new Set();
  let muted = false;
  const Sounds = window.AudioContext;
  window.AudioContext = class extends Sounds {
    constructor(...how) {
      super(...how);
      sounds.add(this);
      if (muted) super.suspend();
    }
    resume() {
      return muted ? Promise.resolve() : super.resume();
    }
    close() {
      sounds.delete(this);
      return super.close();
    }
  };
  function silence(now) {
    if (now === muted) return;
    muted = now;
    window.dispatchEvent(new CustomEvent("piezolab:muted", { detail: muted ? MUTED : "" }));
    if (!muted) return;
    for (const one of document.querySelectorAll("audio")) one.pause();
    // what fades out by itself has done so by then, and would be heard later otherwise
    setTimeout(() => { if (muted) for (const context of sounds) context.suspend(); }, FADED_MS);
  }
  window.piezolabMuted = () => (muted ? MUTED : "");
  window.addEventListener("play", ({ target }) => { if (muted) target.pause(); }, true);

  // The front end opens the channel itself; being its constructor is the one way to see every attempt.
  const Socket = window.WebSocket;
  window.WebSocket = class extends Socket {
    constructor(url, protocols) {
      super(url, protocols);
      if (!/\/api\/kernels\/[\w-]+\/channels/.test(String(url))) return;
      let counted = false;
      // A word of the server's own is no message of the kernel's: the front end never sees it.
      this.addEventListener("message", (event) => {
        if (typeof event.data !== "string" || !event.data.startsWith('{"piezolab"')) return;
        event.stopImmediatePropagation();
        silence(JSON.parse(event.data).piezolab.muted);
      });
      this.addEventListener("open", () => {
        counted = true;
        open += 1;
        silent = 0;
        hide();
      });
      this.addEventListener("close", (event) => {
        reason = REASONS[event.code] ?? reason;
        if (counted) open -= 1;
        counted = false;
        checkIn(300);
      });
    }
  };

  // ---- in a room: seats that nobody uses go to others, and the teacher sees how many have solved what
  function post(path, content) {
    const body = content === undefined ? undefined : JSON.stringify(content);
    const headers = { "Content-Type": "application/json" };
    return fetch(`${settings().baseUrl}${path}`, { method: "POST", headers, body, keepalive: true });
  }

  const HERE_MS = 30000;
  let told = -HERE_MS;
  let used = performance.now();
  let noticed = false;
  function here() {
    used = performance.now();
    if (noticed) {
      noticed = false;
      document.getElementById("pz-idle")?.remove();
    }
    if (used - told < HERE_MS || !settings().piezolabRoom) return;
    const path = address("room/here/");
    if (!path) return;
    told = used;
    post(`room/here/${settings().kernelId}`).catch(() => { told = -HERE_MS; });
  }
  // Not "scroll": the notice itself moves what lies below it, and would count as a touch.
  for (const kind of ["pointerdown", "keydown", "wheel", "touchmove", "focusin"]) {
    window.addEventListener(kind, here, { passive: true, capture: true });
  }
  setInterval(() => {
    const idle = settings().piezolabIdleSeconds;
    if (!idle || noticed || open === 0) return;
    const left = idle - (performance.now() - used) / 1000;
    if (left > Math.min(60, idle / 2) || left < 0) return;
    noticed = true;
    const notice = document.createElement("div");
    notice.id = "pz-idle";
    notice.className = "pz-gone";
    notice.setAttribute("role", "status");
    notice.textContent = "Nobody has touched this page for a while. Its seat is about to be given back: touch the page to " +
      "keep it. A recording is not kept; save it first. Everything else is.";
    document.body.prepend(notice);
  }, 1000);

  // A lesson's widget says what its visitor has solved, where they are, and their latest wrong answers. What could not
  // be sent is sent when the server is back.
  const unsent = new Map();
  async function report() {
    for (const [key, solved] of unsent) {
      try {
        const { status } = await post("room/solved", solved);
        // a later report of the same lesson holds all of this one
        if (status < 500 && status !== 429 && unsent.get(key) === solved) unsent.delete(key);
      } catch {
        return;
      }
    }
  }
  window.addEventListener("piezolab:solved", (event) => {
    const { lesson, tasks = [], at = 0, wrong = {} } = event.detail ?? {};
    if (!settings().piezolabRoom || typeof lesson !== "string" || !lesson) return;
    unsent.set(lesson, { lesson, tasks, at, wrong });
    report();
  });
  window.addEventListener("piezolab:server-back", report);

  // A channel that never opens (cookies forbidden, say) is noticed as well.
  window.addEventListener("load", () => {
    checkIn(15000);
  });
})();
