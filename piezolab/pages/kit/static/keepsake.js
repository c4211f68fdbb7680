// What this browser keeps between visits. Each section is one item of the browser's own store.
const PREFIX = "piezolab:";

function store() {
  try {
    localStorage.setItem(PREFIX + "-", "");
    localStorage.removeItem(PREFIX + "-");
    return localStorage;
  } catch {
    return null;
  }
}

// Where there is no store, the page itself remembers, so that what there is can still be saved to a file.
function memory() {
  const items = new Map();
  return {
    get length() { return items.size; },
    key: (n) => [...items.keys()][n],
    getItem: (name) => items.get(name) ?? null,
    setItem: (name, text) => { items.set(name, text); },
    removeItem: (name) => { items.delete(name); },
  };
}

function all(kept) {
  const sections = {};
  for (let n = 0; n < kept.length; n += 1) {
    const name = kept.key(n);
    if (name.startsWith(PREFIX)) sections[name.slice(PREFIX.length)] = kept.getItem(name);
  }
  return sections;
}

export default {
  render({ model, el }) {
    const lasting = store();
    const kept = lasting ?? memory();
    el.classList.add("pz-keepsake");
    const about = document.createElement("p");
    about.textContent = lasting
      ? "The kept curve, your finished tasks and what you have measured are not in the link. This browser keeps them; a file takes them elsewhere."
      : "This browser keeps nothing between visits. The kept curve, your finished tasks and what you have measured last until you leave the page.";
    const save = document.createElement("button");
    save.type = "button";
    save.className = "pz-button";
    save.textContent = "save to a file";
    const open = document.createElement("label");
    open.className = "pz-button";
    const file = document.createElement("input");
    file.type = "file";
    file.accept = "application/json,.json";
    file.className = "pz-unseen";
    open.append("open a file", file);
    const said = document.createElement("p");
    said.className = "pz-message";
    said.setAttribute("role", "status");
    const row = document.createElement("div");
    row.className = "pz-buttons";
    row.append(save, open);
    el.append(about, row, said);

    save.addEventListener("click", () => {
      const sections = {};
      for (const [name, text] of Object.entries(all(kept))) {
        try { sections[name] = JSON.parse(text); } catch { /* not ours */ }
      }
      const text = JSON.stringify({ format: model.get("format"), sections }, null, 1);
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
      link.download = "piezolab-keepsake.json";
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    });
    file.addEventListener("change", async () => {
      const chosen = file.files[0];
      if (!chosen) return;
      // Too long a text is not sent at all; the package then says what is wrong.
      const text = chosen.size <= model.get("most") ? await chosen.text() : "";
      model.send({ word: "file", text });
      file.value = "";
    });
    function receive(message) {
      for (const [name, text] of Object.entries(message?.keep ?? {})) {
        try {
          if (text === null) kept.removeItem(PREFIX + name);
          else kept.setItem(PREFIX + name, text);
        } catch {
          said.textContent = "This browser's store is full.";
        }
      }
    }
    const show = () => { said.textContent = model.get("said"); };
    model.on("msg:custom", receive);
    model.on("change:said", show);
    show();
    if (lasting) model.send({ word: "kept", sections: all(kept) });
    return () => {
      model.off("msg:custom", receive);
      model.off("change:said", show);
    };
  },
};
