// A block of text or drawing that the package wrote.
const QUIET_MS = 700;
const TOLD_MS = 6000;
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

// Only in the block of the maths, which the package wrote alone: elsewhere a dollar may be a visitor's.
function setFormulas(model, node) {
  if (!node.classList.contains("pz-formulas") || !/\$[^$]+\$/.test(node.textContent)) return;
  if (window.MathJax?.Hub) window.MathJax.Hub.Queue(["Typeset", window.MathJax.Hub, node]);
  else typesetter(model).then((temml) => temml.renderMathInElement(node, { delimiters: DELIMITERS, throwOnError: false }));
}

// What is wider than its place scrolls in a box of its own. Then the keyboard must reach the box, and everybody must be
// told that there is more: by a line below it and by a shade at the end that goes on.
function scrolling(box, name) {
  const cue = document.createElement("p");
  cue.className = "pz-cue";
  cue.setAttribute("aria-hidden", "true");
  cue.textContent = "↔ there is more to the side: swipe, or use the arrow keys";
  box.after(cue);
  function look() {
    const hidden = box.scrollWidth - box.clientWidth;
    const wide = hidden > 1;
    cue.hidden = !wide;
    // What stands above a wide table can be read without scrolling.
    const caption = box.querySelector("caption");
    if (caption) caption.style.paddingRight = wide ? `${hidden}px` : "";
    if (wide) {
      box.tabIndex = 0;
      box.setAttribute("role", "group");
      box.setAttribute("aria-label", `${caption?.textContent || name || "drawing"} (scrolls sideways)`);
    } else for (const attribute of ["tabindex", "role", "aria-label"]) box.removeAttribute(attribute);
    box.classList.toggle("pz-more-left", wide && box.scrollLeft > 1);
    box.classList.toggle("pz-more-right", wide && box.scrollLeft < hidden - 1);
  }
  const size = new ResizeObserver(look);
  size.observe(box);
  if (box.firstElementChild) size.observe(box.firstElementChild);
  box.addEventListener("scroll", look, { passive: true });
  return size;
}

export default {
  render({ model, el }) {
    el.classList.add("pz-block");
    if (model.get("kind")) el.classList.add(`pz-${model.get("kind")}`);
    const body = document.createElement("div");
    body.className = model.get("kind") === "maths" ? "pz-body pz-formulas" : "pz-body";
    const title = model.get("title");
    let head = null;
    if (title && model.get("folded")) {
      const fold = document.createElement("details");
      fold.className = "pz-fold";
      head = document.createElement("summary");
      head.textContent = title;
      fold.append(head, body);
      el.append(fold);
      // What is folded may not be worked out before it is opened.
      if (model.get("lazy")) fold.addEventListener("toggle", () => model.send({ word: "fold", open: fold.open }));
    } else {
      if (title) {
        head = document.createElement("h2");
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
    const name = () => { if (head) head.textContent = model.get("title"); };
    model.on("change:title", name);
    let sizes = [];
    const boxes = () => [...body.querySelectorAll(".pz-scroll")];
    body.addEventListener("click", ({ target }) => {
      const word = target.closest?.("button[data-press]")?.dataset.press;
      if (word) model.send({ word: "press", button: word });
    });
    function show() {
      const held = body.contains(document.activeElement) ? document.activeElement : null;
      const pressed = held?.dataset.press;
      const followed = held?.pathname; // of a link
      const before = boxes().map((box) => [box.scrollLeft, box === document.activeElement]);
      for (const size of sizes) size.disconnect();
      body.innerHTML = model.get("content");
      sizes = boxes().map((box) => scrolling(box, title));
      // The button that was pressed, or the first that is left, keeps the keyboard's focus.
      if (pressed) {
        const left = [...body.querySelectorAll("[data-press]")];
        (left.find((node) => node.dataset.press === pressed) ?? left[0])?.focus({ preventScroll: true });
      }
      if (followed) [...body.querySelectorAll("a[href]")].find((node) => node.pathname === followed)?.focus({ preventScroll: true });
      // New content stands where the old one was looked at.
      for (const [n, box] of boxes().entries()) {
        const [left, focused] = before[n] ?? [0, false];
        if (left) box.scrollLeft = left;
        if (focused) { box.tabIndex = 0; box.focus({ preventScroll: true }); }
      }
      el.hidden = !body.hasChildNodes() && !model.get("lazy");
      setFormulas(model, body);
      if (!told) return;
      clearTimeout(timer);
      // The words are taken away again, or whoever reads on would come across them twice.
      timer = setTimeout(() => {
        told.textContent = body.innerText;
        timer = setTimeout(() => { told.textContent = ""; }, TOLD_MS);
      }, QUIET_MS);
    }
    const age = () => el.classList.toggle("pz-old", model.get("old"));
    model.on("change:content", show);
    model.on("change:old", age);
    show();
    age();
    return () => {
      clearTimeout(timer);
      for (const size of sizes) size.disconnect();
      model.off("change:title", name);
      model.off("change:content", show);
      model.off("change:old", age);
    };
  },
};
