// A block of text or drawing that the package wrote.
const QUIET_MS = 700;

export default {
  render({ model, el }) {
    el.classList.add("pz-block");
    if (model.get("kind")) el.classList.add(`pz-${model.get("kind")}`);
    const body = document.createElement("div");
    body.className = "pz-body";
    const title = model.get("title");
    if (title && model.get("folded")) {
      const fold = document.createElement("details");
      fold.className = "pz-fold";
      const head = document.createElement("summary");
      head.textContent = title;
      fold.append(head, body);
      el.append(fold);
      // What is folded may not be worked out before it is opened.
      if (model.get("lazy")) fold.addEventListener("toggle", () => model.send({ word: "fold", open: fold.open }));
    } else {
      if (title) {
        const head = document.createElement("h2");
        head.textContent = title;
        el.append(head);
      }
      el.append(body);
    }
    // What moves with a slider is read out once it has come to rest, not at every step of it.
    let told = null;
    let timer = 0;
    if (model.get("spoken")) {
      told = document.createElement("div");
      told.className = "pz-unseen";
      told.setAttribute("role", "status");
      el.append(told);
    }
    function show() {
      body.innerHTML = model.get("content");
      el.hidden = !body.hasChildNodes() && !model.get("lazy");
      if (window.MathJax?.Hub && /\$/.test(body.textContent)) window.MathJax.Hub.Queue(["Typeset", window.MathJax.Hub, body]);
      if (!told) return;
      clearTimeout(timer);
      timer = setTimeout(() => { told.textContent = body.textContent; }, QUIET_MS);
    }
    model.on("change:content", show);
    show();
    return () => {
      clearTimeout(timer);
      model.off("change:content", show);
    };
  },
};
