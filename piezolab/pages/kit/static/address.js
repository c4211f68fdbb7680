// Keeps the address bar in step with the chain. Browsers allow about a hundred changes in thirty seconds.
const PAUSE_MS = 400;

export default {
  render({ model, el }) {
    el.hidden = true;
    if (!document.body.hasAttribute("data-voila")) return undefined;
    let timer = 0;
    function write() {
      timer = 0;
      const words = [model.get("query"), model.get("page_words")].filter(Boolean).join("&");
      const wanted = location.pathname + (words ? "?" + words : "") + location.hash;
      if (wanted !== location.pathname + location.search + location.hash) history.replaceState(history.state, "", wanted);
    }
    // Only from the first change on: an address with mistakes in it stays as it was opened, beside what is said of it.
    const soon = () => { if (!timer) timer = setTimeout(write, PAUSE_MS); };
    model.on("change:query", soon);
    model.send({ word: "at", base: location.origin + location.pathname });
    return () => {
      clearTimeout(timer);
      model.off("change:query", soon);
    };
  },
};
