// Files, each asked of the package when its button is pressed and saved by the browser itself.
const FREE_MS = 10000;

export default {
  render({ model, el }) {
    el.classList.add("pz-takes-download");
    const row = document.createElement("div");
    row.className = "pz-buttons";
    const said = document.createElement("p");
    said.className = "pz-hint";
    said.setAttribute("role", "status");
    for (const [kind, words] of model.get("kinds")) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "pz-button";
      button.textContent = words;
      button.addEventListener("click", () => model.send({ word: "save", kind }));
      row.append(button);
    }
    el.append(row, said);
    function receive(message, buffers) {
      if (message?.trouble) said.textContent = message.trouble;
      const content = message?.text || buffers?.[0];
      if (!message?.file || !content) return;
      const link = document.createElement("a");
      link.href = URL.createObjectURL(new Blob([content], { type: message.type }));
      link.download = message.file;
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), FREE_MS);
      said.textContent = `Saved as ${message.file}.`;
    }
    model.on("msg:custom", receive);
    return () => model.off("msg:custom", receive);
  },
};
