// A block of text or drawing that the package wrote.
const QUIET_MS = 700;
const TYPESETTER = Symbol.for("piezolab.temml");
const DELIMITERS = [
  { left: "$$", right: "$$", display: true },
  { left: "$", right: "$", display: false },
];

// A served page sets formulas by itself; any other front end asks the kernel for the typesetter, once.
function typesetter(model) {
  window[TYPESETTER] ??= new Promise((resolve, reject) => {
    const receive = (message, buffers) => {
      if (message?.library !== "temml") return;
      model.off("msg:custom", receive);
      const script = document.createElement("script");
      script.src = URL.createObjectURL(new Blob(buffers, { type: "text/javascript" }));
      script.addEventListener("load", () => resolve(window.temml));
      script.addEventListener("error", reject);
      document.head.append(script);
    };
    model.on("msg:custom", receive);
    model.send({ word: "formulas" });
  });
  return window[TYPESETTER];
}

function setFormulas(model, node) {
  if (!/\$[^$]+\$/.test(node.textContent)) return;
  if (window.MathJax?.Hub) window.MathJax.Hub.Queue(["Typeset", window.MathJax.Hub, node]);
  else typesetter(model).then((temml) => temml.renderMathInElement(node, { delimiters: DELIMITERS, throwOnError: false }));
}

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
      setFormulas(model, body);
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
