// What a page does for itself: says that it is loading, says goodbye to its kernel when it is left, and says so
// when its kernel or the server has gone.
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

  const settings = () => JSON.parse(document.getElementById("jupyter-config-data")?.textContent ?? "{}");
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

  function show(sentence) {
    const banner = document.getElementById("pz-gone");
    if (!banner || !banner.hidden) return;
    const again = document.createElement("a");
    again.href = location.href;
    again.textContent = "open it again";
    // The address may have changed since, and a fragment in it would only scroll.
    again.addEventListener("click", (event) => {
      event.preventDefault();
      location.reload();
    });
    banner.replaceChildren(sentence + " Your chain is kept in the address: ", again, ".");
    banner.hidden = false;
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
    if (status === 404) return show("This page has stopped answering.");
    if (status === 0 || status >= 500) {
      silent += 1;
      if (silent >= 2) show("The server cannot be reached just now.");
    } else if (silent > 0) {
      silent = 0;
      window.dispatchEvent(new Event("piezolab:server-back"));
    }
    checkIn(WAIT_MS);
  }

  // The front end opens the channel itself; being its constructor is the one way to see every attempt.
  const Socket = window.WebSocket;
  window.WebSocket = class extends Socket {
    constructor(url, protocols) {
      super(url, protocols);
      if (!/\/api\/kernels\/[\w-]+\/channels/.test(String(url))) return;
      let counted = false;
      this.addEventListener("open", () => {
        counted = true;
        open += 1;
        silent = 0;
        hide();
      });
      this.addEventListener("close", () => {
        if (counted) open -= 1;
        counted = false;
        checkIn(300);
      });
    }
  };

  // A channel that never opens (cookies forbidden, say) is noticed as well.
  window.addEventListener("load", () => {
    checkIn(15000);
  });
})();
