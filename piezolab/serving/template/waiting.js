// Asks every few seconds whether there is a seat, and then opens the page that was wanted.
(() => {
  "use strict";
  const body = document.body;
  const said = document.getElementById("said");
  // While the seat is only being made ready one does not wait for it; in a line there is time.
  const LINE_MS = 2500;
  const TRIES = "piezolab-door";

  // Without cookies each attempt would be a stranger's.
  function tries() {
    try {
      const [count, at] = JSON.parse(sessionStorage.getItem(TRIES) ?? "[0,0]");
      const now = Date.now();
      const next = now - at < 20000 ? count + 1 : 1;
      sessionStorage.setItem(TRIES, JSON.stringify([next, now]));
      return next;
    } catch {
      return 1;
    }
  }

  function show(title, sentence, kept) {
    document.title = title;
    document.getElementById("title").textContent = title;
    if (said.textContent !== sentence) said.textContent = sentence;
    document.getElementById("kept").textContent = kept;
  }

  let timer = 0;
  let asking = false;
  function askIn(ms) {
    clearTimeout(timer);
    timer = setTimeout(ask, ms);
  }
  async function ask() {
    if (asking) return;
    asking = true;
    let answer = null;
    try {
      const got = await fetch(body.dataset.placeAddress, { cache: "no-store" });
      answer = got.ok ? await got.json() : null;
    } catch {
      answer = null;
    }
    asking = false;
    if (answer?.enter) {
      show("One moment", "Getting your place ready …", "");
      location.reload();
      return;
    }
    if (answer?.stranger) {
      if (tries() < 4) {
        location.reload();
        return;
      }
      show("Cookies are needed", "Your browser keeps no cookie of this server, so it cannot hold a seat for you. " +
        "Please allow cookies for this address and load the page again. The cookie is a random number; it names nobody.", "");
      return;
    }
    if (answer) {
      show("The room is full", answer.said,
        "This page lets you in by itself, in turn. Leave it open: the address keeps your chain.");
    } else {
      show("One moment", "The server does not answer just now. This page keeps trying.", "");
    }
    askIn(LINE_MS);
  }
  if (body.dataset.place === "") ask();
  else askIn(LINE_MS);
  // A phone that wakes up asks at once.
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) askIn(0);
  });
})();
