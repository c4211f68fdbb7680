// The build sheet, and the board's drawing: asked of the package when a button is pressed, then saved or opened by the browser itself.
const FREE_MS = 60000;

export default {
  render({ model, el }) {
    el.classList.add("pz-sheet");
    const row = document.createElement("div");
    row.className = "pz-buttons";
    const said = document.createElement("p");
    said.className = "pz-hint";
    said.setAttribute("role", "status");
    const button = (label) => {
      const made = document.createElement("button");
      made.type = "button";
      made.className = "pz-button";
      made.textContent = label;
      row.append(made);
      return made;
    };
    const save = button("download sheet");
    const print = button("print it");
    const board = button("board SVG");
    el.append(row, said);

    let use = null; // what the sheet is wanted for
    function ask(how, word = "sheet") {
      if (use) return;
      use = how;
      said.textContent = `The ${word} is being worked out …`;
      model.send({ word });
    }
    const keep = (file) => (address) => {
      const link = document.createElement("a");
      link.href = address;
      link.download = file;
      link.click();
      said.textContent = `Saved as ${file}.`;
    };
    save.addEventListener("click", () => ask(keep(model.get("file"))));
    board.addEventListener("click", () => ask(keep(model.get("drawing")), "board"));
    print.addEventListener("click", () => {
      if (use) return;
      // Opened at the press itself: later on a browser takes it for an unwanted window.
      const page = window.open("", "_blank");
      if (!page) {
        said.textContent = "This browser opens no further window here; download the sheet and print it from there.";
        return;
      }
      page.document.title = "Build sheet";
      page.document.body.textContent = "The sheet is being worked out …";
      ask((address, text) => {
        if (page.closed) {
          said.textContent = "";
          return;
        }
        page.document.open();
        page.document.write(text);
        page.document.close();
        said.textContent = "The sheet is open in a window of its own. Print it at 100 %, not “fit to page”.";
        page.document.fonts.ready.then(() => setTimeout(() => page.print(), 300));
      });
    });
    function receive(message) {
      const how = use;
      const text = message?.sheet ?? message?.board;
      if (text && how) {
        use = null;
        const type = message.sheet ? "text/html" : "image/svg+xml";
        const address = URL.createObjectURL(new Blob([text], { type }));
        how(address, text);
        setTimeout(() => URL.revokeObjectURL(address), FREE_MS);
      } else if (message?.trouble) {
        use = null;
        said.textContent = message.trouble;
      }
    }
    model.on("msg:custom", receive);
    return () => model.off("msg:custom", receive);
  },
};
