// A row of buttons; what they do is the package's.
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
      for (const [word, node] of nodes) if (!wanted.some((button) => button.word === word)) {
        node.remove();
        nodes.delete(word);
      }
      el.hidden = !wanted.length;
    }
    model.on("change:buttons", show);
    show();
    return () => model.off("change:buttons", show);
  },
};
