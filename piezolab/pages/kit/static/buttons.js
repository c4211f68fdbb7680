// A row of buttons; what they do is the package's.

// The first thing after an element that the keyboard can stand on.
function nearby(el) {
  const able = [...document.querySelectorAll("button, input, select, textarea, summary, a[href]")];
  return able.find((node) => node.offsetParent && el.compareDocumentPosition(node) & Node.DOCUMENT_POSITION_FOLLOWING);
}

export default {
  render({ model, el }) {
    el.classList.add("pz-buttons");
    el.setAttribute("role", "group");
    el.setAttribute("aria-label", model.get("name"));
    const nodes = new Map();
    function show() {
      const wanted = model.get("buttons");
      for (const { word, label, note, off, held, only } of wanted) {
        let node = nodes.get(word);
        if (!node) {
          node = document.createElement("button");
          node.type = "button";
          node.className = "pz-button";
          node.dataset.word = word;
          node.addEventListener("click", () => {
            if (node.getAttribute("aria-disabled") !== "true") model.send({ word: "press", button: word });
          });
          nodes.set(word, node);
        }
        node.textContent = label;
        if (note) {
          const about = document.createElement("span");
          about.className = "pz-about";
          about.textContent = note;
          node.append(about);
        }
        // Not `disabled`: the button that was just pressed keeps the keyboard's focus.
        node.setAttribute("aria-disabled", String(Boolean(off)));
        if (held === undefined) node.removeAttribute("aria-pressed");
        else node.setAttribute("aria-pressed", String(held));
        node.classList.toggle("pz-narrow-only", only === "narrow");
        if (node.parentElement !== el) el.append(node);
      }
      let lost = false;
      for (const [word, node] of nodes) if (!wanted.some((button) => button.word === word)) {
        lost ||= node === document.activeElement;
        node.remove();
        nodes.delete(word);
      }
      el.hidden = !wanted.length;
      // The button that was pressed has gone: the keyboard goes on from here, not from the top of the page.
      if (lost) (el.querySelector(".pz-button") ?? nearby(el))?.focus();
    }
    model.on("change:buttons", show);
    show();
    return () => model.off("change:buttons", show);
  },
};
